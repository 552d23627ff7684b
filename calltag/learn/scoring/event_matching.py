"""Pairing finds with references whose ends they meet, as the sound-event community counts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching

from calltag.learn.labels.sameness import OFFSET_SHARE, ONSET_COLLAR_S
from calltag.records.label import Label

_ROUNDING_S = 1e-9  # so that exactly the collar is still within it


def match_events(
    truth: Sequence[Label],
    found: Sequence[Label],
    *,
    collar_s: float = ONSET_COLLAR_S,
    offset_share: float = OFFSET_SHARE,
) -> list[tuple[int, int]]:
    """Pair finds with references, as many as possible.

    Parameters
    ----------
    truth, found : sequence of Label
        Events of one take; their labels are not looked at.
    collar_s : float
        Seconds that a start may be off, and an end at least.
    offset_share : float
        Share of a reference's length that its end may be off.

    Returns
    -------
    list of tuple of int
        Positions in `truth` and in `found` that belong together.
    """
    if not truth or not found:
        return []
    t = np.array([(event.start_s, event.end_s) for event in truth])
    f = np.array([(event.start_s, event.end_s) for event in found])
    off = np.abs(t[:, None, :] - f[None, :, :])
    end_collar_s = np.maximum(collar_s, offset_share * (t[:, 1] - t[:, 0]))[:, None]
    near = (off[..., 0] <= collar_s + _ROUNDING_S) & (off[..., 1] <= end_collar_s + _ROUNDING_S)
    partner = maximum_bipartite_matching(csr_array(near), perm_type="column")
    return [(i, int(j)) for i, j in enumerate(partner) if j >= 0]

"""The thresholds of the verdicts, read from one commented file."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

FILE = Path(__file__).with_name("thresholds.toml")


@dataclass(frozen=True, slots=True, kw_only=True)
class Thresholds:
    """Every number a verdict hangs on; `thresholds.toml` says what each means."""

    least_confidence: float
    least_confidence_brief: float
    brief_s: float
    sure_confidence: float
    inaudible_dbfs: float
    below_floor_db: float
    margin_s: float
    machine_gap_s: float
    never_quiet_db: float
    never_quiet_share: float
    rumble_hz: float
    clear_snr_db: float
    over_noise_snr_db: float
    band_gap: float
    band_gap_elsewhere: float
    standing_share: float
    handle_s: float
    least_usable_s: float
    least_told_s: float
    clean_share: float
    clipped_ppm_part: float
    clipped_ppm_lost: float
    over_full_scale_db: float
    silent_peak_dbfs: float
    faint_lufs: float
    shaky_permille: float
    moving_permille_per_s: float
    sharp_permille: float
    blurred_permille: float
    sharp_px: float
    blurred_px: float


@cache
def read_thresholds() -> Thresholds:
    """Read the thresholds from `thresholds.toml`.

    Returns
    -------
    Thresholds
        The thresholds.

    Examples
    --------
    >>> read_thresholds().clear_snr_db
    6.0
    """
    tables = tomllib.loads(FILE.read_text("utf-8"))
    return Thresholds(**{name: value for table in tables.values() for name, value in table.items()})

"""The finder that calltag comes with, loaded once in each process."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from calltag.learn.finding.finder import Finder


@cache
def finder() -> Finder:
    """Return the finder that calltag comes with.

    Returns
    -------
    Finder
        Ready to use.

    Raises
    ------
    ModelError
        If its model is missing or damaged.
    """
    from calltag.learn.finding.finder import Finder

    return Finder.load()

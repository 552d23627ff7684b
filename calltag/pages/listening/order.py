"""What the listening page goes through; a module of its own, so that commands know it at once."""

from __future__ import annotations

from enum import StrEnum


class Order(StrEnum):
    """What sounds may be gone through by."""

    USEFUL = "useful"
    TYPE = "type"
    TAKE = "take"
    TIME = "time"


class Show(StrEnum):
    """Which sounds are gone through."""

    OPEN = "open"
    LABELLED = "labelled"
    ALL = "all"

"""What kept calls may be listed by; a module of its own, so that commands know it at once."""

from __future__ import annotations

from enum import StrEnum


class Order(StrEnum):
    """What kept calls may be listed by; what has most of it comes first, except by type."""

    NEWEST = "newest"
    TYPE = "type"
    SNR = "snr"
    LEVEL = "level"
    LENGTH = "length"
    CONFIDENCE = "confidence"

"""The thresholds of the verdicts, read from one commented file."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path

from calltag.errors import InputError

DEFAULT_FILE = Path(__file__).with_name("thresholds.toml")


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
def read_thresholds(path: Path = DEFAULT_FILE) -> Thresholds:
    """Read thresholds from a file.

    Parameters
    ----------
    path : Path
        A TOML file with the tables of `thresholds.toml`; what it does not state stays as there.

    Returns
    -------
    Thresholds
        The thresholds.

    Raises
    ------
    InputError
        If the file is no TOML, or states a name that is none of the thresholds, or no number.

    Examples
    --------
    >>> read_thresholds().clear_snr_db
    6.0
    """
    values = _values(DEFAULT_FILE)
    if path != DEFAULT_FILE:
        values |= _values(path)
    return Thresholds(**values)


def _values(path: Path) -> dict[str, float]:
    try:
        tables = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise InputError(f"{path.name}: cannot be read as thresholds: {error}") from error
    known = {field.name for field in fields(Thresholds)}
    values = {}
    for table, entries in tables.items():
        for name, value in entries.items() if isinstance(entries, dict) else [(table, entries)]:
            if name not in known:
                raise InputError(
                    f"{path.name}: {name} is no threshold; the names are in {DEFAULT_FILE.name}"
                )
            if isinstance(value, bool) or not isinstance(value, int | float):
                raise InputError(f"{path.name}: {name} must be a number, not {value!r}")
            values[name] = float(value)
    return values

"""Numbers and times in the words of messages and pages."""

from __future__ import annotations

import re
from collections.abc import Sequence

CARE = (
    "Please: do not play these calls to wild animals. It disturbs them, most of all near nests and "
    "when they breed, and in many places it is against the law; follow local law and the practice "
    "of those who are licensed. Turn headphones down before you play what you do not know. The "
    "names are tags for the edit, not identification records."
)
"""What everybody is told who is handed calls."""

_POSITION = re.compile(
    r"(?:(?:(\d+):(?=[0-5]\d:))?(\d+):(?=[0-5]\d(?!\d)))?(\d+(?:[.,]\d*)?)", re.ASCII
)


def counted(number: int, word: str, words: str | None = None) -> str:
    """Say how many: ``1 take``, ``12 takes``.

    Parameters
    ----------
    number : int
        How many.
    word : str
        What is counted.
    words : str, optional
        Its plural, where that is not `word` with an s.

    Returns
    -------
    str
        The number and the word.

    Examples
    --------
    >>> counted(1, "take"), counted(0, "take"), counted(2, "bed of noise", "beds of noise")
    ('1 take', '0 takes', '2 beds of noise')
    """
    return f"{number} {word if number == 1 else words or word + 's'}"


def channels_named(channels: Sequence[int], word: str = "channel") -> str:
    """Name channels: ``channel 2``, ``channels 3 to 5``.

    Parameters
    ----------
    channels : sequence of int
        One or more numbers, in order.
    word : str
        What they are: tracks are counted alike.

    Returns
    -------
    str
        The word and the numbers.

    Examples
    --------
    >>> channels_named([2]), channels_named([1, 3]), channels_named([3, 4, 5])
    ('channel 2', 'channels 1 and 3', 'channels 3 to 5')
    """
    if len(channels) == 1:
        return f"{word} {channels[0]}"
    if len(channels) > 2 and channels[-1] - channels[0] == len(channels) - 1:
        return f"{word}s {channels[0]} to {channels[-1]}"
    return f"{word}s {listed([str(channel) for channel in channels])}"


def sure(confidence: float) -> str:
    """Say how sure a guess is: cut off, not rounded, and never certain; only the user's word is.

    Parameters
    ----------
    confidence : float
        From 0 to 1.

    Returns
    -------
    str
        Per cent.

    Examples
    --------
    >>> sure(0.999), sure(0.7299)
    ('99 %', '72 %')
    """
    return f"{min(99, int(100 * round(confidence, 4)))} %"


def how_sure(confidence: float, *, by_hand: bool) -> str:
    """Say how sure a name is, for a cell of a table: ``by hand``, or as `sure` has it.

    Parameters
    ----------
    confidence : float
        From 0 to 1.
    by_hand : bool
        Whether the user gave it.

    Returns
    -------
    str
        Per cent, or whose word it is.

    Examples
    --------
    >>> how_sure(0.9, by_hand=False), how_sure(1.0, by_hand=True)
    ('90 %', 'by hand')
    """
    return "by hand" if by_hand else sure(confidence)


def duration(seconds: float) -> str:
    """Say how long, as one would: ``40 s``, ``12 min``, ``3 h 5 min``.

    Parameters
    ----------
    seconds : float
        The length.

    Returns
    -------
    str
        Seconds below a minute, else minutes, and hours where there are any.

    Examples
    --------
    >>> duration(39.6), duration(725), duration(3540), duration(11_100)
    ('40 s', '12 min', '59 min', '3 h 5 min')
    """
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"


def take_length(seconds: float) -> str:
    """Say how long a take or its usable sound is: ``0.05 s``, ``24 s``, ``2 min 51 s``.

    Parameters
    ----------
    seconds : float
        The length.

    Returns
    -------
    str
        To the second below an hour, to hundredths below a second, else as `duration` says it.

    Examples
    --------
    >>> [take_length(s) for s in (0, 0.05, 24, 171, 3599, 4834)]
    ['0 s', '0.05 s', '24 s', '2 min 51 s', '59 min 59 s', '1 h 21 min']
    """
    if 0 < seconds < 1:
        return f"{seconds:.2f} s"
    minutes, whole = divmod(round(seconds), 60)
    return f"{minutes} min {whole:02} s" if 0 < minutes < 60 else duration(seconds)


def position(seconds: float) -> str:
    """Say where in a take, to a hundredth: ``1:02.35``.

    Parameters
    ----------
    seconds : float
        Seconds from the start of the take.

    Returns
    -------
    str
        Minutes and seconds; hours where there are any.

    Examples
    --------
    >>> position(62.347), position(3600), position(59.999)
    ('1:02.35', '1:00:00.00', '1:00.00')
    """
    hundredths = round(seconds * 100)
    minutes, rest = divmod(hundredths, 6000)
    return _counter(minutes, f"{rest // 100:02}.{rest % 100:02}")


def parse_position(text: str) -> float:
    """Read where in a take, in seconds or as `position` and `clock` say it.

    Parameters
    ----------
    text : str
        ``62.35``, ``1:02.35`` or ``1:00:00``; a comma will do for the point.

    Returns
    -------
    float
        Seconds from the start of the take.

    Raises
    ------
    ValueError
        If it is neither; the error says what to write.

    Examples
    --------
    >>> parse_position("1:02.35"), parse_position("62,35"), parse_position("1:00:00")
    (62.35, 62.35, 3600.0)
    """
    found = _POSITION.fullmatch(text.strip())
    if found is None:
        raise ValueError("write seconds, as 62.35, or minutes and seconds, as 1:02.35")
    hours, minutes, seconds = found.groups(default="0")
    return round(3600 * int(hours) + 60 * int(minutes) + float(seconds.replace(",", ".")), 6)


def clock(seconds: float) -> str:
    """Say a time in a take as a player's counter shows it.

    Parameters
    ----------
    seconds : float >= 0
        Seconds of the take.

    Returns
    -------
    str
        Minutes and seconds; hours where there are any.

    Examples
    --------
    >>> clock(72.6), clock(3725)
    ('1:12', '1:02:05')
    """
    minutes, rest = divmod(int(seconds), 60)
    return _counter(minutes, f"{rest:02}")


def _counter(minutes: int, seconds: str) -> str:
    """Minutes and seconds as a counter has them, and hours where there are any."""
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{seconds}" if hours else f"{minutes}:{seconds}"


def hertz(frequency_hz: float) -> str:
    """Say a frequency to two digits.

    Parameters
    ----------
    frequency_hz : float > 0
        The frequency.

    Returns
    -------
    str
        Below 1000 in Hz, above in kHz.

    Examples
    --------
    >>> hertz(147.3), hertz(1238), hertz(120_000)
    ('150 Hz', '1.2 kHz', '120 kHz')
    """
    rounded = float(f"{frequency_hz:.2g}")
    return f"{rounded:.0f} Hz" if rounded < 1000 else f"{rounded / 1000:g} kHz"


def listed(words: Sequence[str], last: str = "and") -> str:
    """Join words as a sentence does.

    Parameters
    ----------
    words : sequence of str
        What is listed.
    last : str
        The word before the last of them.

    Returns
    -------
    str
        The list.

    Examples
    --------
    >>> listed(["wind", "voice", "machine"]), listed(["wind"])
    ('wind, voice and machine', 'wind')
    """
    return f" {last} ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def first_few(names: Sequence[str], most: int = 5) -> str:
    """List names, the first few of many.

    Parameters
    ----------
    names : sequence of str
        All of them.
    most : int
        How many to name.

    Returns
    -------
    str
        The names, and how many are left out.

    Examples
    --------
    >>> first_few(["a", "b", "c"], 2)
    'a, b and 1 more'
    """
    shown = ", ".join(names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"

"""What is wrong with a take's channels: what follows from it, and how it is said."""

from __future__ import annotations

from collections.abc import Iterable

from calltag.records.take import ChannelFault, FaultKind
from calltag.words import channels_named, position

_SILENT = (FaultKind.DEAD, FaultKind.STOPS, FaultKind.HISS)
_SPOILT = (
    *_SILENT,
    FaultKind.QUIETER,
    FaultKind.COPY_INVERTED,
    FaultKind.INVERTED,
    FaultKind.WINDY,
)


def spoilt_channels(fault: ChannelFault) -> frozenset[int]:
    """Tell which channels a fault leaves no good to listen to.

    Parameters
    ----------
    fault : ChannelFault
        The fault.

    Returns
    -------
    frozenset of int
        Their numbers, from 1; none where the fault is of another sort.

    Examples
    --------
    >>> sorted(spoilt_channels(ChannelFault(FaultKind.DEAD, (2, 3))))
    [2, 3]
    >>> sorted(spoilt_channels(ChannelFault(FaultKind.SAME, (1, 2))))
    []
    """
    return frozenset(fault.channels if fault.kind in _SPOILT else ())


def silent_channels(faults: Iterable[ChannelFault]) -> frozenset[int]:
    """Tell which channels have no sound of the place in part of a take, or in all of it.

    Parameters
    ----------
    faults : iterable of ChannelFault
        The take's.

    Returns
    -------
    frozenset of int
        Their numbers, from 1.

    Examples
    --------
    >>> dead = ChannelFault(FaultKind.DEAD, (3, 4, 5))
    >>> sorted(silent_channels([dead, ChannelFault(FaultKind.STOPS, (1,), at_s=40.0)]))
    [1, 3, 4, 5]
    """
    return frozenset(number for one in faults if one.kind in _SILENT for number in one.channels)


def clipped_samples(faults: Iterable[ChannelFault]) -> dict[int, int]:
    """Tell how many samples of which channels are clipped.

    Parameters
    ----------
    faults : iterable of ChannelFault
        The take's.

    Returns
    -------
    dict of int to int
        Samples as recorded, by the numbers of the channels, from 1; those not clipped left out.

    Examples
    --------
    >>> clipped_samples([ChannelFault(FaultKind.CLIPPED, (1,), amount=1200)])
    {1: 1200}
    """
    return {
        number: int(one.amount)
        for one in faults
        if one.kind == FaultKind.CLIPPED
        for number in one.channels
    }


def said(fault: ChannelFault, *, aside: bool = True) -> str:
    """Say what is wrong.

    Parameters
    ----------
    fault : ChannelFault
        The fault.
    aside : bool
        Whether to say what is better, too.

    Returns
    -------
    str
        In plain words, without a full stop.

    Examples
    --------
    >>> said(ChannelFault(FaultKind.DEAD, (2, 3, 4)))
    'channels 2 to 4 are dead'
    >>> said(ChannelFault(FaultKind.WINDY, (2,), other=1), aside=False)
    'channel 2 is full of wind or handling noise'
    >>> said(ChannelFault(FaultKind.HISS, (1,), at_s=1215.0))
    'channel 1 carries nothing but hiss from 20:15 on'
    >>> said(ChannelFault(FaultKind.HISS, (1,), at_s=60.0))
    'channel 1 carries nothing but hiss from 1:00 on'
    >>> said(ChannelFault(FaultKind.STOPS, (1,), at_s=41.5))
    'channel 1 stops at 41.5 s'
    >>> said(ChannelFault(FaultKind.DROPS_OUT, at_s=41.5, amount=5.0))
    'there is no sound from 41.5 s to 46.5 s'
    """
    kind, channels, other, at_s, amount = fault
    which = channels_named(channels) if channels else ""
    match kind:
        case FaultKind.NO_SOUND:
            every = "every channel" if len(channels) > 1 else "the channel"
            return f"there is no sound: {every} is silent"
        case FaultKind.DEAD:
            return f"{which} {'is' if len(channels) == 1 else 'are'} dead"
        case FaultKind.STOPS:
            return f"{which or 'sound'} stops at {_moment(at_s, 1)}"
        case FaultKind.STARTS:
            return f"{which or 'sound'} starts at {_moment(at_s, 1)}"
        case FaultKind.QUIETER:
            return f"{which} is {amount:.0f} dB quieter than channel {other}"
        case FaultKind.HISS:
            carry = "carries" if len(channels) == 1 else "carry"
            since = f" from {_moment(at_s, 0)} on" if at_s else ""
            return f"{which} {carry} nothing but hiss{since}"
        case FaultKind.COPY_INVERTED:
            return f"{which} is channel {other} turned upside down (inverted)"
        case FaultKind.INVERTED:
            return f"{which} is turned upside down against channel {other} (inverted)"
        case FaultKind.SAME:
            return f"{which} are the same"
        case FaultKind.WINDY:
            better = f"; channel {other} is cleaner" if aside else ""
            return f"{which} is full of wind or handling noise{better}"
        case FaultKind.CLIPPED:
            return f"{which} is clipped ({round(amount):,} samples)"
        case FaultKind.OFFSET:
            return f"{which} has a DC offset of {100 * amount:+.1f} % of full scale"
        case FaultKind.DROPS_OUT if amount >= 1:
            what = f"{which} {'has' if len(channels) == 1 else 'have'}" if channels else "there is"
            return f"{what} no sound from {_moment(at_s, 1)} to {_moment(at_s + amount, 1)}"
        case FaultKind.DROPS_OUT:
            what = f"sound of {which}" if channels else "sound"
            return f"{what} drops out at {_moment(at_s, 3)} for {1000 * amount:.0f} ms"
        case FaultKind.MORE_DROPOUTS:
            return f"sound drops out {amount:.0f} more times"


def _moment(at_s: float, digits: int) -> str:
    """Where in a take: seconds in its first minute, then as positions are told everywhere."""
    if at_s < 60:
        return f"{at_s:.{digits}f} s"
    return position(at_s) if digits else position(at_s).rpartition(".")[0]

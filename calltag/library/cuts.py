"""A call cut from its take, with handles, at the take's own rate and with all its channels.

Samples are those of the take. Only the outermost `FADE_S` of the handles are faded, so that a file
begins and ends in silence; the call itself, and what lies between it and the fades, is untouched.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from calltag import __version__
from calltag.arrays import FloatArray
from calltag.edit.markers import check_handles
from calltag.errors import MediaError
from calltag.learn.labels.vocabulary import species_of
from calltag.library.kept_file.rdf import remarks
from calltag.library.kept_file.story import BY_HAND, Facts, Heard, Story, cut_id, tidy
from calltag.media.sound_blocks.reader import read_span
from calltag.media.timing.clock import DEFAULT_RATE, Clock, take_clock
from calltag.media.timing.timecode import Rate
from calltag.media.timing.when import moment, take_bext
from calltag.media.wave_files.bext import Bext, history_line
from calltag.records.found import Call
from calltag.records.label import CALL
from calltag.records.span import Span
from calltag.records.take import Take
from calltag.sound.fading import fade_ends
from calltag.sound.loudness.meters import integrated_lufs
from calltag.sound.loudness.true_peak import true_peak_dbtp

HANDLES_S = 1.0
"""Seconds that are kept before and after a call, unless told otherwise."""

FADE_S = 0.01
"""Length of a fade; less where a handle is shorter."""

_LAYOUTS = {1: "mono", 2: "stereo"}


@dataclass(frozen=True, slots=True)
class Cut:
    """A call's sound with its handles.

    Attributes
    ----------
    samples : np.ndarray, shape (n_channels, n_samples), float32
        The sound.
    rate_hz : int
        Its sampling rate.
    first : int
        The sample of the take that it begins with.
    call : Span
        The call, in seconds of the cut.
    fades : tuple of int
        How many samples are faded at the beginning and at the end.
    """

    samples: FloatArray
    rate_hz: int
    first: int
    call: Span
    fades: tuple[int, int]


def cut_call(path: Path, span: Span, *, handles_s: float = HANDLES_S) -> Cut:
    """Cut a call from a take.

    Parameters
    ----------
    path : Path
        The take's file; it is only read.
    span : Span
        The call.
    handles_s : float
        Seconds to keep before and after it, as far as the take goes.

    Returns
    -------
    Cut
        Its sound.

    Raises
    ------
    InputError
        If `handles_s` is below zero.
    MediaError
        If the take cannot be read, or has no sound there.
    """
    check_handles(handles_s)
    start_s = max(0.0, span.start_s - handles_s)
    samples, rate_hz = read_span(path, start_s, span.end_s + handles_s)
    first = round(start_s * rate_hz)
    begin, end = (round(at_s * rate_hz) - first for at_s in span)
    end = min(end, samples.shape[1])
    if end <= begin:
        raise MediaError(path, f"has no sound at {span.start_s:.1f} s; log it again")
    fades = _fade(samples, rate_hz, begin, end)
    return Cut(samples, rate_hz, first, Span(begin / rate_hz, end / rate_hz), fades)


def _fade(samples: FloatArray, rate_hz: int, begin: int, end: int) -> tuple[int, int]:
    """Fade the ends in place, outside the call."""
    n = samples.shape[1]
    longest = round(FADE_S * rate_hz)
    fade_in, fade_out = min(longest, begin), min(longest, n - end)
    fade_ends(samples, fade_in, fade_out)
    return fade_in, fade_out


def tell_story(
    take: Take,
    call: Call,
    cut: Cut,
    *,
    facts: Facts,
    model: str | None = None,
    feature_version: int = 0,
    also_heard: Sequence[Heard] = (),
    rate: Rate = DEFAULT_RATE,
) -> Story:
    """Tell the story of a cut.

    Parameters
    ----------
    take : Take
        Its take.
    call : Call
        The call, as the log has it.
    cut : Cut
        The cut.
    facts : Facts
        What the user adds.
    model : str or None
        What named the call, where the user did not.
    feature_version : int
        Version of the call's measurements.
    also_heard : sequence of Heard
        The same moment in other takes.
    rate : Rate
        How to count timecode where the take has no rate of its own.

    Returns
    -------
    Story
        The story; the hash of the sound is filled in when the file is written.
    """
    clock = take_clock(take, rate)
    first_frame, _ = clock.frames(*call.span)
    has_clock = take.start_tc is not None or take.time_reference is not None
    n_channels, n_samples = cut.samples.shape
    labelled_by = BY_HAND if call.by_hand else (model or "a model") if call.label != CALL else ""
    lufs = integrated_lufs(cut.samples, cut.rate_hz)
    known = asdict(facts)
    day = known.pop("date")
    known["species"] = facts.species or species_of(call.label)
    known["recorded"] = moment(take.recorded, call.start_s) or day
    return tidy(
        Story(
            **known,
            id=cut_id(take.digest, cut.first, n_samples),
            label=call.label,
            rate_hz=cut.rate_hz,
            channels=n_channels,
            n_samples=n_samples,
            call_start_s=cut.call.start_s,
            call_end_s=cut.call.end_s,
            take=take.path,
            take_digest=take.digest,
            source_start_s=float(call.start_s),
            source_end_s=float(call.end_s),
            first_sample=cut.first,
            start_tc=clock.label(first_frame) if has_clock else "",
            frame_rate=str(clock.rate.fps),
            low_hz=float(call.low_hz),
            high_hz=float(call.high_hz),
            peak_hz=float(call.peak_hz),
            snr_db=float(call.snr_db),
            level_dbfs=float(call.level_dbfs),
            loudness_lufs=lufs,
            true_peak_dbtp=true_peak_dbtp(cut.samples),
            noise=tuple(call.noise),
            labelled_by=labelled_by,
            confidence=float(call.sureness),
            also_heard=tuple(also_heard),
            feature_version=feature_version if call.features is not None else 0,
            features=call.features,
        )
    )


def cut_bext(take: Take, cut: Cut, story: Story, clock: Clock, *, subtype: str) -> Bext:
    """State in a wave file's broadcast extension where a cut is from.

    Parameters
    ----------
    take : Take
        Its take.
    cut : Cut
        The cut.
    story : Story
        Its story.
    clock : Clock
        How the take counts its frames.
    subtype : str
        How the samples are stored, as `calltag.media.wave_files.wav_writing.write_wav` has it.

    Returns
    -------
    Bext
        Description, start time, loudness of the file, coding history.
    """
    fades = " and ".join(f"{1000 * n / cut.rate_hz:.0f} ms" for n in cut.fades)
    where = ", ".join(part for part in (story.place, (story.recorded or "")[:10]) if part)
    at = story.start_tc or f"{story.source_start_s:.2f} s"
    words = [f"{story.label}, from {take.path} at {at}", where, remarks(story)]
    bext = take_bext(
        take,
        clock,
        cut.rate_hz,
        description=". ".join(part for part in words if part),
        first=cut.first,
        reference=story.id.replace("-", ""),
        history=history_line(
            cut.rate_hz,
            f"calltag {__version__}: cut from {take.path}; faded {fades} at its ends",
            bits=32 if subtype == "FLOAT" else 24,
            mode=_LAYOUTS.get(story.channels, "multi"),
        ),
    )
    return replace(bext, loudness_lufs=story.loudness_lufs, true_peak_dbtp=story.true_peak_dbtp)

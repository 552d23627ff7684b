"""From sound to verdict: scenes with planted calls and noise, judged against what was planted.

What is usable is decided from the planted parts themselves, before they are mixed, and by none of
the code under test: a machine loses its stretch unless, of the calls in it (or of the take's calls,
if there are none in it), at least three in ten stand by 6 dB above all else in their own band and a
low cut below the call would leave no more of the noise than of the background. What is lost so
keeps calls that stand by 12 dB, with a second on each side, and less than 3 s between two of them.
Speech loses its stretch. Scraps under 3 s without such a call are lost.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
import soxr
from scipy.signal import butter, sosfilt

from calltag.learn.finding.finder import Finder
from calltag.media.probe import probe
from calltag.records.found import TakeLog
from calltag.records.take import Take
from calltag.records.verdict import Verdict
from calltag.takes.verdict import PICTURE_ONLY, judge

RATE_HZ = 48_000
SECONDS = 20
N = SECONDS * RATE_HZ
STEP = RATE_HZ // 10

KINDS = {  # kind of scene: noise, whether there are calls, how far they stand above it in dB
    "clean": (None, True, (8, 20)),
    "quiet": (None, False, (0, 0)),
    "water": ("water", True, (8, 20)),
    "machine": ("machine", True, (-8, -1)),
    "machine, no calls": ("machine", False, (0, 0)),
    "machine below whistles": ("low machine", True, (10, 20)),
    "machine for a while": ("machine for a while", True, (14, 22)),
    "machine for a while, no calls": ("machine for a while", False, (0, 0)),
    "speech": ("speech for a while", True, (8, 20)),
    "speech throughout": ("speech", True, (-8, -1)),
}


def band_power(sound, low_hz, high_hz):
    power = np.abs(np.fft.rfft(sound)) ** 2
    hz = np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    return float(power[(hz >= low_hz) & (hz <= high_hz)].sum()) / len(sound) ** 2


@dataclass
class Planted:
    background: np.ndarray
    noise: np.ndarray = field(default_factory=lambda: np.zeros(N))
    calls: np.ndarray = field(default_factory=lambda: np.zeros(N))
    spans: list[tuple[float, float]] = field(default_factory=list)
    bands: list[tuple[int, int, float, float]] = field(default_factory=list)
    speech: bool = False

    def usable(self) -> np.ndarray:
        """Usable tenths of seconds, by what was planted."""
        usable = np.ones(SECONDS * 10, bool)
        kept = np.zeros(SECONDS * 10, bool)
        for start_s, end_s in self.spans:
            start, end = round(start_s * RATE_HZ), round(end_s * RATE_HZ)
            if self._free(start, end):
                continue
            usable[int(start_s * 10) : int(np.ceil(end_s * 10))] = False
            last = -np.inf
            for begin, stop in [] if self.speech else self._drowning(start, end):
                begin = last if begin - last < 30 else begin
                kept[max(begin, 0) : stop] = True
                last = stop
        usable |= kept
        edges = np.flatnonzero(np.diff(np.concatenate([[0], usable.astype(int), [0]])))
        for first, last in zip(edges[::2], edges[1::2], strict=True):
            if last - first < 30 and not kept[first:last].any():
                usable[first:last] = False
        return usable

    def _free(self, start, end):
        if self.speech:
            return False
        inside = [band for band in self.bands if band[0] < end and band[1] > start]
        standing = []
        for first, last, low_hz, high_hz in inside or self.bands:
            # a call at another time is held against the noise in the middle of this one
            at = first if inside else min((start + end) // 2, N - (last - first))
            noise = self.noise[at : at + last - first]
            rest = self.background[at : at + last - first]
            call = band_power(self.calls[first:last], low_hz, high_hz)
            over = call / (
                band_power(noise, low_hz, high_hz) + band_power(rest, low_hz, high_hz) + 1e-15
            )
            above = (0.8 * low_hz, 24_000)
            parted = band_power(noise, *above) <= band_power(rest, *above)
            standing.append(parted and over >= 10**0.6)
        return bool(standing) and np.mean(standing) >= 0.3

    def _drowning(self, start, end):
        """Tenths of calls that drown what is between two samples, with a second on each side."""
        for first, last, low_hz, high_hz in self.bands:
            rest = (self.noise + self.background)[first:last]
            call = band_power(self.calls[first:last], low_hz, high_hz)
            drowns = call >= 10**1.2 * band_power(rest, low_hz, high_hz)
            if first < end and last > start and drowns:
                yield first // STEP - 10, last // STEP + 10


class Sounds:
    """Real noise where there is a folder of it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.kept = {}

    def noise(self, kind, rng):
        if kind == "speech":
            paths = sorted((self.folder / "librosa").glob("*-0000.ogg"))
        else:
            paths = sorted((self.folder / "esc10" / kind).glob("*.ogg"))
        assert paths, kind
        out, fade = np.zeros(0), RATE_HZ // 4
        rising = np.sqrt(np.linspace(0, 1, fade))
        while len(out) < N:
            piece = self._read(paths[rng.integers(len(paths))])
            if len(piece) < RATE_HZ:
                continue
            if len(out):
                out[-fade:] = out[-fade:] * rising[::-1] + piece[:fade] * rising
                piece = piece[fade:]
            out = np.concatenate([out, piece])
        return out[:N] / out[:N].std()

    def _read(self, path):
        if path not in self.kept:
            sound, rate_hz = sf.read(path, dtype="float32")
            heard = np.flatnonzero(np.abs(sound) > 1e-4)  # clips are padded with silence
            sound = soxr.resample(sound[heard[0] : heard[-1]], rate_hz, RATE_HZ)
            self.kept[path] = sound / (sound.std() + 1e-9)
        return self.kept[path]


def plant(kind, rng, sounds):
    noise, has_calls, snr_range_db = KINDS[kind]
    pink = np.fft.rfft(rng.standard_normal(N))
    pink /= np.sqrt(np.maximum(np.fft.rfftfreq(N, 1 / RATE_HZ), 20))
    background = np.fft.irfft(pink, N)
    background *= 10 ** (rng.uniform(-56, -48) / 20) / background.std()
    made = Planted(background)
    if noise == "water":
        made.background = 2 * background.std() * sounds.noise(
            rng.choice(["rain", "sea_waves"]), rng
        )  # fmt: skip
    elif noise is not None:
        made.speech = noise.startswith("speech")
        what = "speech" if made.speech else rng.choice(["chainsaw", "chainsaw", "helicopter"])
        sound = sounds.noise(what, rng)
        if noise == "low machine":
            sound = sosfilt(butter(6, rng.uniform(500, 1000), fs=RATE_HZ, output="sos"), sound)
        span = (0.0, float(SECONDS))
        if noise.endswith("for a while"):
            start_s = rng.uniform(3, 7)
            span = (start_s, start_s + rng.uniform(5, 9))
        gate = np.zeros(N)
        gate[round(span[0] * RATE_HZ) : round(span[1] * RATE_HZ)] = 1
        gain = background.std() * 10 ** (rng.uniform(15, 28) / 20) / sound.std()
        made.noise, made.spans = gain * sound * gate, [span]
    at_s = rng.uniform(1, 3)
    while has_calls and at_s < SECONDS - 3:
        n = round(rng.uniform(0.3, 0.9) * RATE_HZ)
        first, hz = round(at_s * RATE_HZ), rng.uniform(2500, 6000)
        t = np.arange(n) / RATE_HZ
        sweep = hz * t + rng.uniform(-0.1, 0.1) * hz * t**2 / t[-1] / 2
        call = np.hanning(n) * np.sin(2 * np.pi * sweep)
        low_hz, high_hz = 0.88 * hz, 1.12 * hz
        room = (made.background + made.noise)[first : first + n]
        snr = 10 ** (rng.uniform(*snr_range_db) / 10)
        wanted = snr * band_power(room, low_hz, high_hz)
        made.calls[first : first + n] += call * np.sqrt(wanted / band_power(call, low_hz, high_hz))
        made.bands.append((first, first + n, low_hz, high_hz))
        at_s += n / RATE_HZ + rng.uniform(1.5, 4)
    return made


def verdict_on(planted: Planted, path: Path, finder: Finder) -> Verdict:
    mix = planted.background + planted.noise + planted.calls
    sf.write(path, 0.7 * mix / max(0.7, np.abs(mix).max()), RATE_HZ, subtype="PCM_24")
    info = probe(path)
    found = finder.analyse(path, info)
    take = Take(
        path=path.name,
        rushes=str(path.parent),
        digest="",
        size_bytes=1,
        duration_s=info.duration_s,
        sample_rate_hz=RATE_HZ,
        channels=1,
        levels=found.levels,
    )
    return judge(TakeLog(take=take, calls=found.calls, noise=found.noise))


@pytest.mark.field
def test_picture_only_and_usable_stretches_of_planted_scenes(field, tmp_path, finder):
    rng = np.random.default_rng(41)
    sounds = Sounds(field)
    right = wrong = missed = common_n = either_n = 0
    for kind in KINDS:
        for take in range(2):
            planted = plant(kind, rng, sounds)
            verdict = verdict_on(planted, tmp_path / f"{kind} {take}.wav", finder)
            truth = planted.usable()
            said = np.zeros(SECONDS * 10, bool)
            for use in verdict.usable:
                said[round(use.start_s * 10) : round(use.end_s * 10)] = True
            lost = not truth.any()
            right += lost and verdict.grade == PICTURE_ONLY
            wrong += not lost and verdict.grade == PICTURE_ONLY
            missed += lost and verdict.grade != PICTURE_ONLY
            common_n += int((truth & said).sum())
            either_n += int((truth | said).sum())
            assert verdict.reasons
    assert right >= 4
    assert right / (right + wrong) >= 0.95  # precision: a good take is not thrown away
    assert right / (right + missed) >= 0.75
    assert common_n / either_n >= 0.9


def test_a_quiet_take_with_whistles_is_clean_from_sound_to_verdict(tmp_path, finder):
    planted = plant("clean", np.random.default_rng(3), None)
    verdict = verdict_on(planted, tmp_path / "A.wav", finder)
    assert verdict.grade == "clean"
    assert verdict.clean_s > 0.95 * SECONDS

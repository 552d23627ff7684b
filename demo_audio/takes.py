"""The takes of one invented dawn at Ashmere: who calls when, what spoils it, how it sounds then.

`set_scene` says what there is to hear in a take, `record` gives its sound before encoding. All that
is left to chance comes from the seed and the take's or the moment's name, so that no take changes
when another is edited.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import noises
import numpy as np
import numpy.typing as npt
from air import RATE_HZ, Samples, distance_gain, filtered, reverb
from animals import BOOM, RASP, SQUEAL, TRILL, WHISTLE, CallType, edges

DAY = "2024-05-04"
"""Date that the files carry; the place and the morning are invented."""


@dataclass(frozen=True, kw_only=True)
class Series:
    """Calls of one animal, one after another at uneven gaps.

    Attributes
    ----------
    kind : CallType
        What it calls.
    at_s : float
        Start of the first call, in seconds of its moment.
    count : int
        How many.
    gap_s : float
        From start to start, in the mean.
    level_dbfs : float
        Level of a call at the microphone, in the mean.
    metres : float
        How far away it sits.
    pan : float
        Where it sits: -1 left, 1 right.
    """

    kind: CallType
    at_s: float
    count: int = 1
    gap_s: float = 1.0
    level_dbfs: float = -32.0
    metres: float = 25.0
    pan: float = 0.0


@dataclass(frozen=True)
class Heard:
    """One stretch with something in it.

    Attributes
    ----------
    start_s, end_s : float
        Its ends, in seconds from the take's first sample.
    label : str
        Call type, noise kind, or `no call`.
    """

    start_s: float
    end_s: float
    label: str


Spoiler = Callable[[np.random.Generator, int], tuple[Samples, list[Heard]]]


@dataclass(frozen=True, kw_only=True)
class DemoTake:
    """One clip of the demo.

    Attributes
    ----------
    name : str
        File name.
    moment : str
        Which of `MOMENTS` it records.
    duration_s : Fraction
        Length.
    fps : Fraction or None
        Frame rate; None for sound alone.
    start_tc : str
        Start timecode as the file states it; for sound alone the time of day.
    verdict : str
        What a listener would say of its sound: clean, part or picture-only.
    tracks : str
        ``none``, ``one``, ``pair`` (two capsules), ``same``, ``inverted`` or ``dead second``.
    codec : str
        How its sound is stored: ``aac``, ``ac3`` or ``pcm_s16le``.
    offset_s : float
        When it starts, in seconds of its moment.
    clock_ppm : float
        How much too fast its clock runs, in parts per million.
    air_dbfs : float
        Level of the air.
    gain_db : float
        What its microphone makes of the calls.
    ceiling : float
        Where its amplifier overloads; 1 is full scale.
    drips_s : tuple of float
        When something plops.
    spoiler : callable or None
        Makes its noise.
    wind : float
        How hard the reeds sway in the picture, 0 to 1.
    """

    name: str
    moment: str
    duration_s: Fraction
    fps: Fraction | None
    start_tc: str
    verdict: str
    tracks: str = "one"
    codec: str = "aac"
    offset_s: float = 0.0
    clock_ppm: float = 0.0
    air_dbfs: float = -52.0
    gain_db: float = 0.0
    ceiling: float = 1.0
    drips_s: tuple[float, ...] = ()
    spoiler: Spoiler | None = None
    wind: float = 0.15

    @property
    def n_samples(self) -> int:
        """Samples of sound."""
        return round(self.duration_s * RATE_HZ)

    @property
    def n_frames(self) -> int:
        """Frames of picture."""
        return 0 if self.fps is None else round(self.duration_s * self.fps)


def _trimmer(rpm: noises.Points, level_dbfs: float, stop_s: float, near: bool) -> Spoiler:
    def make(rng: np.random.Generator, n_samples: int) -> tuple[Samples, list[Heard]]:
        length_s = n_samples / RATE_HZ
        points = (*rpm, (length_s, rpm[-1][1]))
        sound = noises.hedge_trimmer(rng, n_samples, points, level_dbfs)
        if not near:
            sound = filtered(sound, distance_gain(150))
            sound = reverb(rng, sound, wet_db=-8, decay_s=0.9)[:n_samples]
        running = np.clip((stop_s - np.arange(n_samples) / RATE_HZ) / 0.5, 0, 1) ** 2
        end_s = min(stop_s, length_s)
        return sound * running, [Heard(0.0, end_s, "machine/hedge trimmer")]

    return make


def _wind(strength: noises.Points, level_dbfs: float) -> Spoiler:
    def make(rng: np.random.Generator, n_samples: int) -> tuple[Samples, list[Heard]]:
        sound, spans = noises.wind(rng, n_samples, strength, level_dbfs)
        return sound, [Heard(start, end, "wind") for start, end in spans if end - start > 0.2]

    return make


def _murmur(phrases: noises.Points, level_dbfs: float) -> Spoiler:
    def make(rng: np.random.Generator, n_samples: int) -> tuple[Samples, list[Heard]]:
        sound, spans = noises.murmur(rng, n_samples, phrases, level_dbfs)
        sound = reverb(rng, sound, wet_db=-10, decay_s=0.35)[:n_samples]
        return sound, [Heard(start, end, "voice") for start, end in spans]

    return make


def _knocks(at_s: tuple[float, ...], peak: float, boat_dbfs: float) -> Spoiler:
    def make(rng: np.random.Generator, n_samples: int) -> tuple[Samples, list[Heard]]:
        sound = noises.outboard(rng, n_samples, boat_dbfs)
        heard = [Heard(0.0, n_samples / RATE_HZ, "machine/outboard")]
        for start_s in at_s:
            begin = round(start_s * RATE_HZ)
            knock = peak * rng.uniform(0.6, 1) * noises.thump(rng)
            sound[begin : begin + knock.size] += knock
            heard.append(Heard(start_s, start_s + 0.45, "handling"))
        return sound, heard

    return make


def _waves(level_dbfs: float) -> Spoiler:
    def make(rng: np.random.Generator, n_samples: int) -> tuple[Samples, list[Heard]]:
        sound = noises.lapping(rng, n_samples, level_dbfs)
        return sound, [Heard(0.0, n_samples / RATE_HZ, "water")]

    return make


MOMENTS: dict[str, tuple[Series, ...]] = {
    "first light": (
        Series(kind=BOOM, at_s=1.0, count=4, gap_s=5.2, level_dbfs=-30, metres=30, pan=-0.5),
        Series(kind=BOOM, at_s=4.7, level_dbfs=-37, metres=90, pan=0.7),
        Series(kind=BOOM, at_s=15.5, level_dbfs=-37, metres=90, pan=0.7),
        Series(kind=RASP, at_s=2.4, count=2, gap_s=0.9, pan=0.4),
        Series(kind=RASP, at_s=7.9, count=3, gap_s=0.9, level_dbfs=-30, pan=0.4),
        Series(kind=RASP, at_s=12.8, count=3, gap_s=0.85, level_dbfs=-33, pan=0.4),
        Series(kind=RASP, at_s=18.9, count=3, gap_s=0.85, level_dbfs=-36, metres=50, pan=-0.2),
    ),
    "reeds wake": (
        Series(kind=WHISTLE, at_s=0.9, count=4, gap_s=1.1, level_dbfs=-34, metres=18),
        Series(kind=TRILL, at_s=5.5, count=2, gap_s=1.7, level_dbfs=-33, metres=18),
        Series(kind=WHISTLE, at_s=9.1, count=3, gap_s=1.15, level_dbfs=-40, metres=45),
        Series(kind=TRILL, at_s=12.7, level_dbfs=-35, metres=18),
        Series(kind=WHISTLE, at_s=14.3, count=2, gap_s=1.05, level_dbfs=-33, metres=18),
        Series(kind=TRILL, at_s=16.5, level_dbfs=-38, metres=45),
    ),
    "rails quarrel": (
        Series(kind=SQUEAL, at_s=1.0, count=4, gap_s=0.8, level_dbfs=-29, metres=20),
        Series(kind=BOOM, at_s=4.9, level_dbfs=-33, metres=60),
        Series(kind=SQUEAL, at_s=6.5, count=3, gap_s=0.85, level_dbfs=-34, metres=40),
        Series(kind=WHISTLE, at_s=9.6, count=3, gap_s=1.2, level_dbfs=-38),
        Series(kind=BOOM, at_s=13.5, count=2, gap_s=2.9, level_dbfs=-32, metres=60),
        Series(kind=SQUEAL, at_s=14.9, level_dbfs=-31, metres=20),
        Series(kind=SQUEAL, at_s=17.7, count=2, gap_s=0.85, level_dbfs=-29, metres=20),
    ),
    "garden begins": (
        Series(kind=RASP, at_s=1.0, count=3, gap_s=0.9, level_dbfs=-29),
        Series(kind=WHISTLE, at_s=5.3, count=3, gap_s=1.2, level_dbfs=-32, metres=18),
        Series(kind=BOOM, at_s=10.2, level_dbfs=-27, metres=30),
        Series(kind=SQUEAL, at_s=11.4, level_dbfs=-29, metres=20),
        Series(kind=TRILL, at_s=14.2, level_dbfs=-31, metres=18),
        Series(kind=SQUEAL, at_s=15.9, count=2, gap_s=0.85, level_dbfs=-27, metres=20),
        Series(kind=BOOM, at_s=19.9, level_dbfs=-30, metres=30),
        Series(kind=RASP, at_s=21.2, count=2, gap_s=0.9, level_dbfs=-31),
    ),
    "garden at its worst": (),
    "breeze": (
        Series(kind=RASP, at_s=0.7, count=2, gap_s=0.85, level_dbfs=-30),
        Series(kind=TRILL, at_s=3.7, level_dbfs=-30, metres=18),
        Series(kind=WHISTLE, at_s=6.3, count=3, gap_s=1.1, level_dbfs=-33, metres=18),
        Series(kind=WHISTLE, at_s=11.3, level_dbfs=-29, metres=18),
        Series(kind=BOOM, at_s=14.0, level_dbfs=-28, metres=30),
        Series(kind=RASP, at_s=15.4, count=2, gap_s=0.85, level_dbfs=-31),
        Series(kind=TRILL, at_s=18.9, count=2, gap_s=1.6, level_dbfs=-33, metres=18),
    ),
    "hide": (
        Series(kind=SQUEAL, at_s=0.5, count=2, gap_s=0.75, level_dbfs=-30, metres=20),
        Series(kind=TRILL, at_s=4.0, level_dbfs=-34, metres=18),
        Series(kind=BOOM, at_s=7.6, level_dbfs=-31, metres=40),
        Series(kind=WHISTLE, at_s=8.9, count=2, gap_s=1.0, level_dbfs=-35, metres=18),
        Series(kind=TRILL, at_s=11.1, level_dbfs=-33, metres=18),
        Series(kind=SQUEAL, at_s=14.6, count=3, gap_s=0.75, level_dbfs=-30, metres=20),
        Series(kind=WHISTLE, at_s=17.7, level_dbfs=-34, metres=18),
        Series(kind=BOOM, at_s=18.9, level_dbfs=-31, metres=40),
    ),
    "chorus": (
        Series(kind=WHISTLE, at_s=0.5, count=2, gap_s=1.0, level_dbfs=-32, metres=10),
        Series(kind=BOOM, at_s=2.4, level_dbfs=-31, metres=40),
        Series(kind=TRILL, at_s=3.6, count=2, gap_s=1.55, level_dbfs=-31, metres=10),
        Series(kind=SQUEAL, at_s=6.4, count=3, gap_s=0.75, level_dbfs=-33, metres=35),
        Series(kind=BOOM, at_s=8.8, level_dbfs=-31, metres=40),
    ),
    "tripod": (
        Series(kind=RASP, at_s=0.8, count=2, gap_s=0.9, level_dbfs=-31),
        Series(kind=WHISTLE, at_s=5.2, count=3, gap_s=1.15, level_dbfs=-34, metres=18),
        Series(kind=TRILL, at_s=10.9, count=2, gap_s=1.6, level_dbfs=-34, metres=18),
        Series(kind=RASP, at_s=15.4, count=3, gap_s=0.9, level_dbfs=-32),
        Series(kind=SQUEAL, at_s=18.3, count=2, gap_s=0.75, level_dbfs=-31, metres=20),
    ),
    "ripples": (
        Series(kind=BOOM, at_s=0.8, count=2, gap_s=2.0, level_dbfs=-28, metres=30),
        Series(kind=TRILL, at_s=4.5, count=3, gap_s=1.5, level_dbfs=-33, metres=18),
        Series(kind=SQUEAL, at_s=9.3, count=4, gap_s=0.8, level_dbfs=-29, metres=20),
        Series(kind=RASP, at_s=13.0, count=3, gap_s=0.9, level_dbfs=-31),
        Series(kind=BOOM, at_s=15.9, level_dbfs=-28, metres=30),
        Series(kind=TRILL, at_s=17.2, level_dbfs=-34, metres=18),
        Series(kind=SQUEAL, at_s=18.9, count=2, gap_s=0.8, level_dbfs=-31, metres=20),
        Series(kind=BOOM, at_s=20.9, level_dbfs=-30, metres=30),
    ),
}

TAKES: tuple[DemoTake, ...] = (
    DemoTake(
        name="ASH_A_0031.MP4",
        moment="first light",
        duration_s=Fraction(22),
        fps=Fraction(25),
        start_tc="05:12:00:00",
        verdict="clean",
        tracks="pair",
        drips_s=(11.0, 17.6),
    ),
    DemoTake(
        name="ASH_A_0032.MP4",
        moment="reeds wake",
        duration_s=Fraction(18),
        fps=Fraction(50),
        start_tc="05:16:30:00",
        verdict="clean",
        tracks="same",
        air_dbfs=-54,
        drips_s=(8.3,),
    ),
    DemoTake(
        name="ASH_A_0034.MP4",
        moment="garden begins",
        duration_s=Fraction(24),
        fps=Fraction(25),
        start_tc="05:31:10:00",
        verdict="part",
        spoiler=_trimmer(
            (
                (0, 2800),
                (4.1, 2850),
                (4.6, 8600),
                (8.7, 9000),
                (9.5, 2900),
                (12.8, 2800),
                (13.2, 7900),
                (15.0, 8400),
                (15.4, 7600),
                (17.2, 8800),
                (17.9, 2900),
            ),
            level_dbfs=-28,
            stop_s=19.3,
            near=False,
        ),
    ),
    DemoTake(
        name="ASH_A_0036.MP4",
        moment="breeze",
        duration_s=Fraction(22),
        fps=Fraction(25),
        start_tc="05:40:00:00",
        verdict="part",
        wind=1.0,
        ceiling=0.75,
        spoiler=_wind(
            (
                (0, 0.05),
                (2.4, 0.06),
                (3.4, 0.55),
                (4.6, 0.75),
                (5.7, 0.08),
                (9.4, 0.05),
                (10.4, 0.9),
                (11.4, 0.8),
                (12.6, 1.0),
                (13.6, 0.08),
                (16.9, 0.05),
                (17.5, 0.5),
                (18.5, 0.06),
                (22, 0.05),
            ),
            level_dbfs=-5,
        ),
    ),
    DemoTake(
        name="ASH_A_0037.MP4",
        moment="hide",
        duration_s=Fraction(20),
        fps=Fraction(25),
        start_tc="05:44:20:00",
        verdict="part",
        spoiler=_murmur(
            ((2.0, 118), (5.3, 186), (10.6, 112), (12.6, 192), (16.6, 124)), level_dbfs=-35
        ),
    ),
    DemoTake(
        name="ASH_A_0038.MP4",
        moment="chorus",
        duration_s=Fraction(10),
        fps=Fraction(100),
        start_tc="05:47:00:00",
        verdict="picture-only",
        tracks="none",
        offset_s=1.0,
    ),
    DemoTake(
        name="ASH_A_0039.MP4",
        moment="tripod",
        duration_s=Fraction(20),
        fps=Fraction(50),
        start_tc="05:52:05:00",
        verdict="part",
        tracks="inverted",
        spoiler=_knocks((3.1, 4.0, 9.4, 14.3), peak=0.5, boat_dbfs=-44),
    ),
    DemoTake(
        name="ASH_A_0040.MP4",
        moment="ripples",
        duration_s=Fraction(22),
        fps=Fraction(25),
        start_tc="05:58:30:00",
        verdict="clean",
        drips_s=(12.3,),
        spoiler=_waves(-44),
    ),
    DemoTake(
        name="ASH_B_0012.MOV",
        moment="first light",
        duration_s=Fraction(54, 5),
        fps=Fraction(25),
        start_tc="05:12:05:21",
        verdict="clean",
        codec="pcm_s16le",
        offset_s=5.54,
        clock_ppm=80,
        air_dbfs=-57,
        gain_db=-5,
    ),
    DemoTake(
        name="ASH_B_0013.MOV",
        moment="garden at its worst",
        duration_s=Fraction(272, 25),
        fps=Fraction(25),
        start_tc="05:33:40:00",
        verdict="picture-only",
        codec="ac3",
        spoiler=_trimmer(
            (
                (0, 2800),
                (1.6, 2900),
                (2.6, 8500),
                (5.2, 9000),
                (5.8, 5200),
                (6.4, 8700),
                (8.6, 9000),
                (9.2, 7200),
                (9.8, 9000),
            ),
            level_dbfs=-5.5,
            stop_s=60,
            near=True,
        ),
    ),
    DemoTake(
        name="ASH_C_0004.MP4",
        moment="rails quarrel",
        duration_s=Fraction(600 * 1001, 30_000),
        fps=Fraction(30_000, 1001),
        start_tc="05:20:50;00",
        verdict="clean",
        drips_s=(12.9,),
    ),
    DemoTake(
        name="ASH_R_0007.WAV",
        moment="chorus",
        duration_s=Fraction(10),
        fps=None,
        start_tc="05:46:59.000",
        verdict="clean",
        tracks="dead second",
        codec="pcm_s16le",
        air_dbfs=-55,
        gain_db=-2,
    ),
)


@dataclass(frozen=True)
class Voice:
    """A call on its way to a take's microphone.

    Attributes
    ----------
    start_s : float
        First sample of `dry`, in seconds of the take.
    dry : np.ndarray, shape (n_samples,)
        The call itself, at its level.
    series : Series
        Whose it is.
    """

    start_s: float
    dry: Samples
    series: Series

    @property
    def heard(self) -> Heard:
        """Where it is heard."""
        start, end = edges(self.dry)
        label = self.series.kind.label
        return Heard(self.start_s + start / RATE_HZ, self.start_s + end / RATE_HZ, label)


@dataclass(frozen=True)
class Scene:
    """What there is to hear in a take.

    Attributes
    ----------
    voices : list of Voice
        Calls, in order of start.
    spoilt : np.ndarray, shape (n_samples,)
        Sound of all noise.
    noise : list of Heard
        Where the noise is, in order of start.
    """

    voices: list[Voice]
    spoilt: Samples
    noise: list[Heard]

    @property
    def calls(self) -> list[Heard]:
        """The calls: the truth about the take."""
        return [voice.heard for voice in self.voices]


def set_scene(take: DemoTake, seed: int) -> Scene:
    """Let animals call and noise come up.

    Parameters
    ----------
    take : DemoTake
        The take.
    seed : int
        Seed of all chance.

    Returns
    -------
    Scene
        What there is to hear.
    """
    voices = [v for v in voices_of(take, seed) if _is_whole(take, v)]
    rng = _chance(seed, take.name)
    spoilt, noise = np.zeros(take.n_samples), list[Heard]()
    if take.spoiler is not None:
        spoilt, noise = take.spoiler(rng, take.n_samples)
    for at_s in take.drips_s:
        begin = round(at_s * RATE_HZ)
        drip = 10 ** (-27 / 20) * noises.plop(rng)
        spoilt[begin : begin + drip.size] += drip
        noise.append(Heard(at_s, at_s + 0.15, "water/plop"))
    return Scene(voices, spoilt, sorted(noise, key=lambda heard: heard.start_s))


def voices_of(take: DemoTake, seed: int) -> list[Voice]:
    """Let the animals of a take's moment call, before, in and after the take.

    Each series is one animal with a pitch of its own.

    Parameters
    ----------
    take : DemoTake
        The take, by whose clock they are placed.
    seed : int
        Seed of all chance.

    Returns
    -------
    list of Voice
        In order of start.
    """
    rng = _chance(seed, take.moment)
    voices = []
    for series in MOMENTS[take.moment]:
        pitch, at_s = float(np.clip(rng.normal(1, 0.025), 0.95, 1.05)), series.at_s
        for _ in range(series.count):
            dry = series.kind.make(rng, pitch * rng.normal(1, 0.004))
            start, _ = edges(dry)
            level = 10 ** ((series.level_dbfs + rng.normal(0, 1.2)) / 20)
            moment_s = at_s - start / RATE_HZ
            start_s = (moment_s - take.offset_s) * (1 + take.clock_ppm / 1e6)
            voices.append(Voice(start_s, dry * level, series))
            at_s += series.gap_s * rng.uniform(0.93, 1.12)
    return sorted(voices, key=lambda voice: voice.start_s)


def record(take: DemoTake, scene: Scene, seed: int) -> npt.NDArray[np.int16]:
    """Record a scene with the take's microphones.

    Parameters
    ----------
    take : DemoTake
        The take.
    scene : Scene
        What there is to hear.
    seed : int
        Seed of all chance.

    Returns
    -------
    np.ndarray, shape (n_channels, n_samples), int16
        The sound before encoding; no channel for a silent take.
    """
    if take.tracks == "none":
        return np.zeros((0, 0), np.int16)
    rng = _chance(seed, f"microphones of {take.name}")
    capsules = 2 if take.tracks == "pair" else 1
    sound = np.zeros((capsules, take.n_samples))
    for capsule in range(capsules):
        sound[capsule] = scene.spoilt + noises.lakeside(rng, take.n_samples, take.air_dbfs)
        for voice in scene.voices:
            side = voice.series.pan * (2 * capsule - 1) if capsules == 2 else 0.0
            _lay(sound[capsule], rng, voice, take.gain_db + 2.5 * side, side)
    steps = np.round(np.clip(sound, -take.ceiling, take.ceiling) * 32_767).astype(np.int16)
    if take.tracks == "same":
        return np.vstack((steps, steps))
    if take.tracks == "inverted":
        return np.vstack((steps, -steps))
    if take.tracks == "dead second":
        return np.vstack((steps, np.zeros_like(steps)))
    return steps


def _chance(seed: int, name: str) -> np.random.Generator:
    return np.random.default_rng((seed, zlib.crc32(name.encode())))


def _is_whole(take: DemoTake, voice: Voice) -> bool:
    return voice.start_s >= 0 and voice.start_s + voice.dry.size / RATE_HZ <= take.duration_s


def _lay(
    sound: Samples,
    rng: np.random.Generator,
    voice: Voice,
    gain_db: float,
    side: float,
) -> None:
    """Lay a call into the sound as it arrives; the nearer capsule gets it up to 0.2 ms sooner."""
    padded = np.concatenate((voice.dry, np.zeros(RATE_HZ // 4)))
    far = filtered(padded, distance_gain(voice.series.metres))
    wet_db = -20 + 10 * np.log10(voice.series.metres / 10)
    heard = 10 ** (gain_db / 20) * reverb(rng, far, wet_db=wet_db, decay_s=0.7)
    begin = round(voice.start_s * RATE_HZ) - round(side * 1e-4 * RATE_HZ)
    skip, stop = max(0, -begin), min(heard.size, sound.size - begin)
    sound[begin + skip : begin + stop] += heard[skip:stop]

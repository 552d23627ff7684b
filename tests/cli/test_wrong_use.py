"""What is wrong with a command line alone: told with status 2, before any file is looked at.

There is neither a log nor a call library in the folder of these tests: who looks there first ends
with status 1, as what depends on files does.
"""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

WRONG = (
    ("sheet day.pdf", "name it day.html, or add --folder"),
    ("markers day.otio --as edl", "ends as otio does, and --as says edl; change one of the two"),
    ("library help", "`calltag library find -h` tells of one"),
    ("demo now", "now is too much. For example: calltag demo"),
    ("calls best 10", "Did you mean --best 10?"),
    ("takes A001.MOV", 'Did you mean --take "A001.MOV"?'),
    ("takes A001.MOV A002.MOV", 'Did you mean --take "A001.MOV" --take "A002.MOV"?'),
    ("takes my clip.MOV", 'Did you mean --take "my clip.MOV"?'),
    ("calls --best 3 A001.MOV", 'Did you mean --take "A001.MOV"?'),
    ("calls --take A001.MOV A002.MOV", 'Did you mean --take "A002.MOV"?'),
    ("calls type 'pit rail'", 'Did you mean --type "pit rail"?'),
    ("label mine.csv", "Did you mean --from mine.csv?"),
    ("teach help", "Did you mean --help?"),
    ("rescue A001.MOV A002.MOV", "A002.MOV is too much. For example: calltag rescue"),
    (
        "markers my my cut.otio",
        'my cut.otio is too much. Put a name that has spaces in quotes: "my my',
    ),
    ("markers 2024 spring.otio", 'spaces in quotes: "2024 spring.otio"'),
    ("calls --type=marsh hooter", 'spaces in quotes: --type="marsh hooter"'),
    ("calls --type marsh hooter", 'spaces in quotes: "marsh hooter"'),
    ("rescue card 1/A001.MOV", 'spaces in quotes: "card 1/A001.MOV"'),
    ("markers day.txt", "end the name in one of"),
    ("markers day.otio --as xml", "format 'xml'"),
    ("markers day.otio --speed 40", "percentage"),
    ("markers day.otio --conform fast", "frame rate 'fast'"),
    ("markers day.otio --distance far", "distance 'far'"),
    ("markers day.otio --distance -1", "distance -1"),
    ("markers day.otio --distance 10 --temperature 200", "temperature 200"),
    ("markers day.otio --distance near.csv --temperature 200", "temperature 200"),
    ("markers day.otio --temperature 8", "--temperature goes with --distance"),
    ("markers day.csv --start-tc 10:00:00:00", "csv has none, so leave it out"),
    ("markers sound --as wav --start-tc 10:00:00:00", "wav has none, so leave it out"),
    ("markers day.otio --handles -1", "write 0 or more"),
    ("markers day.otio --handles inf", "inf is no number to go by"),
    ("markers day.otio --fps 25df", "drop-frame"),
    ("markers day.edl --start-tc noon", "timecode 'noon'"),
    ("markers day.edl --start-tc 24:00:00:00", "no such time of day"),
    ("selects best.csv", "timeline (.otio) or an edit list"),
    ("selects best.otio --best 0", "write 1 or more"),
    ("selects best.otio --handles -1", "write 0 or more"),
    ("selects best.otio --gap -1", "write 0 or more"),
    ("selects best.otio --gap inf", "inf is no number to go by"),
    ("selects best.otio --match-levels", "--sound"),
    ("selects best.otio --sound best.mp3", "end its name in .wav"),
    ("selects best.otio --sound best.otio --replace", "end its name in .wav"),
    ("selects best.otio --fps 25df", "drop-frame"),
    ("selects best.otio --start-tc noon", "timecode 'noon'"),
    ("bed --seconds 2", "choose a length"),
    ("bed --seconds nan", "choose a length"),
    ("bed --out bed.mp3", "end its name in .wav"),
    ("rescue A001.mov --out A001.mov", "end its name in .wav"),
    ("rescue A001.mov --high-cut 0", "--high-cut 0: a cut needs a frequency above 0 Hz"),
    ("rescue A001.mov --low-cut -80", "--low-cut -80: a cut needs a frequency above 0 Hz"),
    ("rescue A001.mov --high-cut nan --channel 1", "--high-cut nan: a cut needs"),
    ("rescue A001.mov --low-cut 500 --high-cut 100", "set the low cut below the high cut"),
    ("score truth.csv --collar -1", "write 0 or more"),
    ("sync a.wav b.wav --around 1 --by-timecode", "not both"),
    ("sync a.wav b.wav --around nan", "nan is no number to go by"),
    ("sync a.wav b.wav --within 5", "--within goes with --around or --by-timecode"),
    ("label --from mine.csv --take a.wav", "--take goes with --list"),
    ("keep", "say which calls to keep"),
    ("keep --take a.wav --at 1 --from some.csv", "whatever --from says; leave out one"),
    ("keep --take a.wav --at 1 --type boom", "whatever --type says; leave out one"),
    ("keep --take a.wav --at 1 --min-snr 90", "whatever --min-snr says; leave out one"),
    ("keep --take a.wav --at 1 --clean", "whatever --clean says; leave out one"),
    ("keep --best 1 --date noon", "--date noon: write the day as"),
    ("keep --best 1 --handles inf", "inf is no number to go by"),
    ("library find --month Floreal", "--month Floreal: write a number"),
    ("library find --since May", "--since May: write a day as"),
    ("library out edit --until 5", "--until 5: write a day as"),
    ("library find --id 1", "1: is no id"),
    ("library out edit --fps 25df", "drop-frame"),
    ("library like a.wav --length 1", "--length goes with --at"),
    ("library like a.wav --at nan", "write seconds, as 62.35"),
)


@pytest.mark.parametrize(("line", "told"), WRONG)
def test_wrong_use_is_told_with_status_2(run, tmp_path: Path, line: str, told: str) -> None:
    ran = run(*shlex.split(line))
    assert told in " ".join(ran.err.split())
    assert ran.status == 2
    assert ran.err.startswith(f"Usage: calltag {line.split()[0]}")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("markers day.otio --speed slow.csv", "there is no log here"),
        ("markers day.otio --distance near.csv", "there is no log here"),
        ("sync a.wav b.wav", "a.wav: there is no such file, and no take in a log here"),
        ("sync a.wav b.wav --log none.db", "none.db: there is no log here"),
        ("library like 1a2b3c4d", "there is no call library here"),
    ],
)
def test_what_depends_on_files_is_told_with_status_1(
    run, tmp_path: Path, monkeypatch, line: str, told: str
) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    ran = run(*line.split())
    assert (ran.status, told in ran.err) == (1, True), ran.err
    assert not list(tmp_path.iterdir())

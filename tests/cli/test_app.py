from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer.main

from calltag import __version__
from calltag.cli import _streams, main
from calltag.cli.app import app
from calltag.cli.library._query import ORDER_WORDS
from calltag.edit.formats import all_formats
from calltag.errors import OutputError
from calltag.log import Log
from calltag.pages import library_page
from calltag.pages.listening import app as listening_page
from calltag.records.label import NOISE_KINDS

ROOT = Path(__file__).resolve().parents[2]


def commands(group: Any = None, above: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Names of all commands that there are, those below others too."""
    group = group or typer.main.get_command(app)
    for name, command in group.commands.items():
        yield (*above, name)
        if hasattr(command, "commands"):
            yield from commands(command, (*above, name))


def test_the_job_has_its_commands() -> None:
    names = {name for name, *_ in commands()}
    assert {"log", "takes", "calls", "label"} <= names


@pytest.mark.parametrize("command", list(commands()), ids=" ".join)
def test_every_command_has_help_and_an_example(run, command: tuple[str, ...]) -> None:
    ran = run(*command, "--help")
    assert ran.status == 0
    usage, first, *_ = [line.strip() for line in ran.out.splitlines() if line.strip()]
    assert usage.startswith(f"Usage: calltag {' '.join(command)}")
    assert first.endswith((".", ":")), "a sentence on the first line"
    assert len(first) <= 72
    examples = ran.out.partition("Example")[2].splitlines()
    assert any(line.strip().startswith(f"calltag {' '.join(command)}") for line in examples)


def test_every_marker_format_and_noise_kind_is_named_where_it_is_looked_for(run) -> None:
    told = re.split(r"\W+", run("markers", "--help").out)
    written = (ROOT / "README.md").read_text("utf-8")
    for name, found in all_formats().items():
        assert name in told
        assert f"--as {name}`" in written or f"OUT{found.SUFFIX}`" in written
    assert set(NOISE_KINDS) <= set(re.split(r"\W+", run("label", "--help").out))
    assert set(listening_page.NOISE_KEYS) == set(NOISE_KINDS)


def test_every_order_has_its_words_where_it_is_chosen() -> None:
    assert set(listening_page.ORDERS) == set(listening_page.Order)
    assert set(listening_page.SHOWN) == set(listening_page.Show)
    assert set(library_page.ORDERS) == set(library_page.Order)
    assert set(library_page.Order) <= set(re.split(r"\W+", ORDER_WORDS))


@pytest.mark.parametrize("group", [(), ("library",)], ids=str)
def test_the_list_of_commands_says_what_each_does_to_the_end(run, group: tuple[str, ...]) -> None:
    listed = run(*group, "--help").out.partition("Commands:")[2]
    assert "  " in listed
    assert "..." not in listed


@pytest.mark.parametrize("command", [(), *commands()], ids=" ".join)
def test_help_is_for_people_who_are_no_programmers(run, command: tuple[str, ...]) -> None:
    shown = run(*command, "--help").out
    for jargon in ("list[", "<path>", "<str>", "<int", "<float", "x>=", "<=x", "[]"):
        assert jargon not in shown
    commands_shown = [
        line for line in shown.partition("Example")[2].splitlines() if "  calltag " in line
    ]
    assert ("Examples:" in shown) == (len(commands_shown) > 1)


@pytest.mark.parametrize("command", list(commands()), ids=" ".join)
def test_every_option_is_explained(command: tuple[str, ...]) -> None:
    found: Any = typer.main.get_command(app)
    for name in command:
        found = found.commands[name]
    for option in found.params:
        assert option.help, f"{' '.join(command)} {option.name}"
        assert option.help.rstrip().endswith((".", "]")), option.help


def test_the_version_is_told(run) -> None:
    assert run("--version").out == f"calltag {__version__}\n"


def test_help_loads_nothing_heavy() -> None:
    program = (
        "import sys\n"
        "from calltag.cli import main\n"
        "try:\n    main(['--help'])\n"
        "except SystemExit:\n    pass\n"
        "heavy = {'scipy', 'sklearn', 'librosa', 'av', 'joblib', 'onnxruntime', 'numba',"
        " 'opentimelineio', 'soundfile', 'skops'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_calls_are_listed_without_filters(log: Path) -> None:
    """Loading what makes them took longer than all else that `calls` does."""
    program = (
        "import sys\n"
        "from calltag.cli import main\n"
        "try:\n    main(['calls'])\n"
        "except SystemExit:\n    pass\n"
        "print('scipy.signal' in sys.modules)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        cwd=log.parent,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.splitlines()[-1] == "False"
    assert "A001.mov" in done.stdout


@pytest.mark.skipif(os.name != "posix", reason="measures the time of child processes")
def test_help_comes_at_once() -> None:
    """Less than half a second of the processor: a person does not wait for it."""
    import resource

    def spent_s() -> float:
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime

    def cost_s() -> float:
        before = spent_s()
        subprocess.run(
            [sys.executable, "-m", "calltag", "--help"], cwd=ROOT, capture_output=True, check=True
        )
        return spent_s() - before

    assert any(cost_s() < 0.5 for _ in range(3))


@pytest.mark.parametrize("arguments", [["lgo"], ["calls", "--besst", "3"], ["log"]], ids=" ".join)
def test_wrong_usage_ends_with_2_and_one_error(run, arguments: list[str]) -> None:
    ran = run(*arguments)
    assert ran.status == 2
    assert ran.out == ""
    assert ran.err.count("Error: ") == 1


@pytest.mark.parametrize(("of", "told"), [((), "log"), (("sheet",), "sheet"), (("me",), "log")])
def test_who_types_help_is_told_how_to_have_it(run, of: tuple[str, ...], told: str) -> None:
    ran = run("help", *of)
    assert ran.status == 2
    assert f"`calltag {told} -h` tells of one" in ran.err


def lacking_an_argument() -> Iterator[tuple[str, ...]]:
    for names in commands():
        command: Any = typer.main.get_command(app)
        for name in names:
            command = command.commands[name]
        if any(parameter.required for parameter in command.params):
            yield names


@pytest.mark.parametrize("command", list(lacking_an_argument()), ids=" ".join)
def test_where_an_argument_is_missing_an_example_shows_it(run, command: tuple[str, ...]) -> None:
    ran = run(*command)
    assert ran.status == 2
    *_, last = ran.err.splitlines()
    assert re.fullmatch(
        rf"Error: Missing .*'\. For example: calltag {' '.join(command)} \S.*", last
    )
    assert last.partition("For example: ")[2] in run(*command, "--help").out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--best", "0"], "'--best': write 1 or more"),
        (["--best", "x"], "'--best': write a whole number"),
        (["--min-confidence", "2"], "'--min-confidence': write 1 or less"),
        (["--min-snr", "loud"], "'--min-snr': write a number"),
        (["--min-snr", "nan"], "'--min-snr': nan is no number to go by; write one such as 12"),
        (["--by", "colour"], "'--by': 'colour' is not one of 'start', 'worth'"),
    ],
    ids=str,
)
def test_a_wrong_value_is_told_in_plain_words(run, arguments: list[str], told: str) -> None:
    ran = run("calls", *arguments)
    assert ran.status == 2
    assert f"Error: Invalid value for {told}" in ran.err


@pytest.mark.parametrize(
    "arguments",
    [
        ("markers", ""),
        ("keep", "--best", "1", "--library", ""),
        ("log", ""),
        ("calls", "--log", ""),
    ],
    ids=str,
)
def test_an_empty_name_is_no_name(run, log: Path, arguments: tuple[str, ...]) -> None:
    before = sorted(log.parent.iterdir())
    ran = run(*arguments)
    assert ran.status == 2
    assert "the name is empty; write one" in ran.err
    assert sorted(log.parent.iterdir()) == before


def test_a_known_error_is_one_sentence(run) -> None:
    ran = run("calls")
    assert ran.status == 1
    assert ran.err.count("\n") == 1
    assert ran.err.startswith("calltag: calltag.db: there is no log here; ")


@pytest.mark.parametrize(
    ("how", "told"), [("--as csv", ""), ("--as json 2>&1", ""), ("", "1501 calls listed; 500 more")]
)
def test_a_reader_that_leaves_early_is_no_error(log: Path, how: str, told: str) -> None:
    """What it does not want to read is let go; the command does its work, and all is well."""
    with Log(log) as opened:
        one = next(opened.take_logs())
        many = one.calls * 500
        opened.put(type(one)(take=one.take, calls=many), feature_version=1)
    command = f"{sys.executable} -m calltag calls {how} | head -n 1; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(
        ["bash", "-c", command],
        cwd=log.parent,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0
    assert done.stdout.count("\n") == 1
    assert done.stderr.startswith(told)
    assert done.stderr.count("\n") == 2 * bool(told), "what is listed, and what may come next"


@pytest.mark.skipif(not hasattr(os, "eventfd"), reason="has no file that refuses like that")
def test_a_reader_that_leaves_early_is_no_error_on_windows_either(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its pipes say EINVAL then, as a counter says of anything that is no number."""
    with _streams._Guarded(os.eventfd(0), "wb") as guarded:
        with pytest.raises(OutputError, match="invalid argument"):
            guarded.write(b"take")
        monkeypatch.setattr(_streams, "_ON_WINDOWS", True)
        assert guarded.write(b"take") == 4
        assert guarded.write(b"card1/A001.mov") == 14


def test_a_file_whose_name_looks_like_an_option_is_told_how_to_write(run, log, tmp_path) -> None:
    assert "No such option: -x\n" in run("rescue", "-x.mov").err
    (tmp_path / "-x.mov").touch()
    for command in (("rescue",), ("log",), ("library", "like")):
        ran = run(*command, "-x.mov")
        assert ran.status == 2
        assert "No such option: -x; if the file is meant, write ./-x.mov\n" in ran.err
    assert "no such take in the log" in run("rescue", "./-x.mov").err


def test_a_library_that_windows_cannot_load_is_told(run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Those that hear and write timelines want a runtime that not every Windows has."""
    what = "DLL load failed while importing onnxruntime_pybind11_state"

    def failed(*_: object, **__: object) -> None:
        raise ImportError(what)

    monkeypatch.setattr("calltag.cli.app.app", failed)
    ran = run("log", ".")
    assert ran.status == 1
    assert ran.err.startswith(f"calltag: a library cannot be loaded ({what}); install the C++")
    assert ran.err.count("\n") == 1


def test_a_pattern_in_an_option_is_no_name_of_files(monkeypatch: pytest.MonkeyPatch) -> None:
    """On Windows `--take "*31*"` would become all files here that fit."""
    told: dict[str, object] = {}
    monkeypatch.setattr("calltag.cli.app.app", lambda *_, **how: told.update(how))
    main()
    assert told["windows_expand_args"] is False


@pytest.mark.skipif(os.name != "posix", reason="says where output goes as a POSIX shell does")
@pytest.mark.parametrize(
    ("arguments", "where", "reason"),
    [
        ("calls --as json", "> /dev/full", "no space left on device"),
        ("takes", "> /dev/full", "no space left on device"),
        ("--help", "> /dev/full", "no space left on device"),
        ("--version", "> /dev/full", "no space left on device"),
        ("calls --as csv", ">&-", "it is closed"),
        ("--version", ">&-", "it is closed"),
    ],
)
def test_output_that_cannot_be_written_is_told(
    log: Path, arguments: str, where: str, reason: str
) -> None:
    done = in_shell(log.parent, f"{arguments} {where}")
    assert done.returncode == 1
    *_, last = done.stderr.splitlines()
    assert last == (f"calltag: the output cannot be written ({reason}); send it to another place")
    assert "Traceback" not in done.stderr


@pytest.mark.skipif(os.name != "posix", reason="says where output goes as a POSIX shell does")
def test_nobody_has_to_read_the_messages(log: Path) -> None:
    done = in_shell(log.parent, "takes 2>&-")
    assert done.returncode == 0
    assert "A001.mov" in done.stdout


def in_shell(folder: Path, arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        f"{sys.executable} -m calltag {arguments}",
        shell=True,
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )


def test_ctrl_c_while_it_starts_ends_with_130(monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("calltag.cli._streams.prepare_streams", stopped)
    with pytest.raises(SystemExit) as ended:
        main(["--help"])
    assert ended.value.code == 130


TOO_LONG = "x" * 300


@pytest.mark.parametrize(
    "arguments",
    [
        ("calls", "--log", TOO_LONG),
        ("teach", "--log", TOO_LONG),
        ("log", "rushes", "--log", TOO_LONG),
        ("sync", "A001.mov", TOO_LONG),
        ("sync", "A001.mov", "B001.mov", "--log", TOO_LONG),
        ("keep", "--best", "1", "--library", TOO_LONG),
        ("library", "teach", "--log", TOO_LONG, "--library", "lib"),
        ("library", "like", TOO_LONG, "--library", "lib"),
        *(("library", name, "--library", TOO_LONG) for name in ("find", "check", "rebuild")),
    ],
    ids=lambda arguments: " ".join(arguments).replace(TOO_LONG, "…"),
)
def test_a_name_that_no_disk_can_hold_is_told(run, log: Path, arguments: tuple[str, ...]) -> None:
    (log.parent / "rushes").mkdir(exist_ok=True)
    (log.parent / "rushes" / "A001.mov").write_bytes(b"no clip")
    ran = run(*arguments)
    assert ran.status == 1
    assert ran.err.startswith("calltag: ")

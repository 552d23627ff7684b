"""Defaults from calltag.toml, checked against the options that there are."""

from __future__ import annotations

from pathlib import Path

import pytest


def write_settings(folder: Path, text: str) -> None:
    (folder / "calltag.toml").write_text(text, "utf-8")


def listed(ran) -> int:
    assert ran.status == 0
    return ran.out.count("card")


def test_settings_are_defaults_and_the_command_line_wins(run, log: Path) -> None:
    write_settings(log.parent, '[calls]\nmin-confidence = 0.8\ntype = ["marsh hooter", "call"]\n')
    assert listed(run("calls", "--as", "csv")) == 3
    assert listed(run("calls", "--as", "csv", "--min-confidence", "0")) == 4
    assert listed(run("calls", "--as", "csv", "--type", "pit rail", "--min-confidence", "0")) == 1


def test_settings_for_all_commands_go_where_they_fit(run, log: Path) -> None:
    log.rename(log.with_name("ashmere.db"))
    write_settings(log.parent, '[all]\nlog = "ashmere.db"\nas = "csv"\n[takes]\nas = "json"\n')
    assert listed(run("calls")) == 4
    assert run("takes").out.startswith("[")


def test_settings_may_have_either_name_of_a_switch(run, log: Path) -> None:
    """The help has `--noise` and `--clean`, `--open` and `--no-open`."""
    clean = run("calls", "--clean", "--as", "csv").out
    noisy = run("calls", "--noise", "--as", "csv").out
    write_settings(log.parent, '[calls]\nas = "csv"\nclean = true\n[label]\nno-open = true\n')
    assert run("calls").out == clean != noisy
    assert run("calls", "--noise").out == noisy
    write_settings(log.parent, '[all]\nas = "csv"\nclean = true\n')
    assert run("calls").out == clean


def test_what_chooses_calls_with_noise_does_not_mark_noise(run, log: Path) -> None:
    """One name, one meaning: `noise` for all commands is not for `markers --mark-noise`."""
    write_settings(log.parent, "[all]\nnoise = true\n")
    assert run("markers", "marks.csv").status == 0
    assert "noise: " not in Path("marks.csv").read_text("utf-8")
    assert run("markers", "marks.csv", "--mark-noise", "--replace").status == 0
    assert "noise: wind" in Path("marks.csv").read_text("utf-8")


@pytest.mark.parametrize(
    ("text", "status", "sentence"),
    [
        (
            "[calls]\nmin-confidense = 1\n",
            2,
            "no option `min-confidense`; is `min-confidence` meant?",
        ),
        ("[callls]\nby = 'snr'\n", 2, "[callls]: there is no such command; is `calls` meant?"),
        ("[all]\nhandels = 1\n", 2, "[all]: no command has an option `handels`"),
        ("[all]\nby = 'beauty'\n", 2, "calltag.toml, [all] by: "),
        ("[calls]\nmin-confidence = 'high'\n", 2, "[calls] min-confidence: write a number"),
        ("[calls]\nmin-confidence = 7\n", 2, "[calls] min-confidence: write 1 or less"),
        ("[calls]\nbest = 2.5\n", 2, "calltag.toml, [calls] best: write a whole number"),
        ("[calls]\nby = 'beauty'\n", 2, "calltag.toml, [calls] by: 'beauty' is not one of 'start'"),
        ('["library find"]\nbest = 2\n', 2, "no such command; write [library.find]"),
        ('["library.find"]\nbest = 2\n', 2, "no such command; write [library.find]"),
        ("[library]\nbest = 2\n", 2, "[library] best: options stand below a command of library"),
        ("[library]\nfind = 2\n", 2, "[library] find: options stand below a command of library"),
        ("[library.fnd]\nbest = 2\n", 2, "[library.fnd]: there is no such command; is `find`"),
        ("[calls]\nbest = [1, 2]\n", 2, "calltag.toml, [calls] best: give a single value"),
        ("[log]\nforce = 'yes'\n", 2, "calltag.toml, [log] force: give true or false"),
        ("[calls]\nbest = true\n", 2, "[calls] best: give a value, not true or false"),
        ("[calls]\nclean = 1\n", 2, "calltag.toml, [calls] clean: give true or false"),
        ("[calls]\nclean = false\n", 2, "[calls] clean: write `noise = true`, or leave it out"),
        ("by = 'snr'\n", 1, "calltag.toml: `by` stands outside a table; put it below [all] or"),
        ("[calls\n", 1, "calltag.toml: is no valid TOML ("),
    ],
)
def test_settings_that_cannot_be_are_told(
    run, log: Path, text: str, status: int, sentence: str
) -> None:
    write_settings(log.parent, text)
    ran = run("calls", "--as", "csv")
    assert ran.status == status
    assert ran.out == ""
    assert sentence in " ".join(ran.err.split())

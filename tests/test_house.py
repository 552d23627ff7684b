"""The house explains itself: what texts name is there, and what is there is named."""

import ast
import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
CODE = ROOT / "calltag"
PAGES = (ROOT / "DEVELOPERS.md", ROOT / "README.md", ROOT / "models" / "RECORD.md")
FILES = [*ROOT.glob("*.*"), *(one for top in ROOT.glob("[a-z]*/") for one in top.rglob("*.*"))]
SOURCES = [one for one in FILES if one.suffix == ".py"]

# One module is like the next in these, and each is found by being there or by `app.py`.
ALIKE = {"cli", "cli/library", "edit/formats"}
# What a user has, what lies with the recordings or is of librosa, and what stands for a name.
ELSEWHERE = {"calltag.toml", "field/scenes.py", "LIBROSA_DATA_DIR", "_command_what.py"}


def rooms() -> list[str]:
    folders = (init.parent.relative_to(CODE).as_posix() for init in CODE.rglob("__init__.py"))
    return sorted(set(folders) - {"."} - ALIKE)


@pytest.mark.parametrize("room", rooms())
def test_the_first_lines_of_a_room_name_what_is_in_it(room):
    told = ast.get_docstring(ast.parse((CODE / room / "__init__.py").read_text("utf-8"))) or ""
    here = [one for one in (CODE / room).iterdir() if one.stem not in ("__init__", "__main__")]
    names = {one.stem for one in here if one.suffix == ".py" or (one / "__init__.py").is_file()}
    assert names - set(re.findall(r"`(\w+)`", told)) == set()


@cache
def names_in(module: Path) -> frozenset[str]:
    """All names that a module has, of whatever kind."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(module.read_text("utf-8"))):
        for part in ("name", "id", "attr", "arg", "asname"):
            if isinstance(name := getattr(node, part, None), str):
                names.add(name)
    return frozenset(names)


def is_there(dotted: str) -> bool:
    parts = dotted.split(".")
    for n in range(len(parts), 0, -1):
        path = ROOT.joinpath(*parts[:n])
        module = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
        if module.is_file():
            return set(parts[n:]) <= names_in(module)
    return False


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_files_and_modules_that_pages_name_are_there(page):
    ours = "\n".join(f"/{one.relative_to(ROOT).as_posix()}" for one in FILES)
    told = re.findall(r"`([^`\s]+)`", page.read_text("utf-8"))
    files = {one for one in told if re.fullmatch(r"[\w/]+\.(py|toml|csv|json|html)", one)}
    missing = {one for one in files - ELSEWHERE if f"/{one}\n" not in f"{ours}\n"}
    folders = {one for one in told if re.fullmatch(r"(\w+/)+", one)}
    missing |= {one for one in folders if f"/{one}" not in ours and not (ROOT / one).is_dir()}
    heads = {one.name for one in CODE.iterdir() if one.is_dir()}
    dotted = {one for one in told if re.fullmatch(r"\w+(\.\w+)+", one)}
    missing |= {d for d in dotted if d.split(".")[0] in heads and not is_there(f"calltag.{d}")}
    assert missing == set()


def test_names_that_developers_are_told_of_are_in_the_code():
    code = "\n".join(one.read_text("utf-8") for one in SOURCES)
    told = set(re.findall(r"`([A-Z]\w+|_\w+)`", (ROOT / "DEVELOPERS.md").read_text("utf-8")))
    unknown = {name for name in told - ELSEWHERE if not re.search(rf"\b{name}\b", code)}
    assert unknown == set()


def test_modules_that_the_code_names_are_there():
    dotted = re.compile(r"`+(calltag(?:\.\w+)+)`+")
    wrong = {
        f"{one.relative_to(ROOT)}: {name}"
        for one in SOURCES
        for name in dotted.findall(one.read_text("utf-8"))
        if name.rsplit(".")[-1] != "toml" and not is_there(name)
    }
    assert wrong == set()

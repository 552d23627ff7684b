"""The vocabulary of labels, and the file that labels are read from.

A label is one of three things. A noise kind is one of `NOISE_KINDS`, and may carry a detail after a
slash: ``machine/hedge trimmer``. `NO_CALL` says that a find is no call. Everything else is a call
type, in the user's own words: ``pit rail: rasp``. What has been found but not named bears `CALL`,
which is no label.
"""

from __future__ import annotations

import codecs
import csv
import io
import math
import re
import unicodedata
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from calltag.errors import InputError
from calltag.records import CALL, NO_CALL, NOISE_KINDS, Label
from calltag.words import one_spelling

LONGEST = 80
"""Characters that a label may have: more does not fit a marker."""

COLUMNS = ("take", "start_s", "end_s", "label")
"""Columns that a file of labels must have; ``group`` may be added, others are passed over."""

_BEYOND = "beyond the columns"
"""What `read_rows` calls cells that have no column, which `take_cell` refuses."""

_UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_STATED = re.compile(r'"?sep=([,;\t])"?\s*', re.IGNORECASE)  # as spreadsheets write it


def noise_kind(label: str) -> str | None:
    """Tell which kind of noise a label is of.

    Parameters
    ----------
    label : str
        A label as `parse_label` gives it.

    Returns
    -------
    str or None
        One of `NOISE_KINDS`; None for a label that is not of noise.

    Examples
    --------
    >>> noise_kind("machine/hedge trimmer"), noise_kind("pit rail: rasp")
    ('machine', None)
    """
    kind = label.partition("/")[0]
    return kind if kind in NOISE_KINDS else None


def is_call(label: str) -> bool:
    """Tell whether a label is of an animal's call, of known type or not.

    Parameters
    ----------
    label : str
        A label as `parse_label` gives it, or `CALL`.

    Returns
    -------
    bool
        False for noise and for `NO_CALL`.

    Examples
    --------
    >>> [is_call(label) for label in ("marsh hooter: boom", "call", "no call", "wind")]
    [True, True, False, False]
    """
    return label != NO_CALL and noise_kind(label) is None


def is_call_type(label: str) -> bool:
    """Tell whether a label names a call type.

    Parameters
    ----------
    label : str
        A label as `parse_label` gives it, or `CALL`.

    Returns
    -------
    bool
        False for noise, for `NO_CALL` and for `CALL`.
    """
    return label != CALL and is_call(label)


def species_of(label: str) -> str:
    """Read the animal off a call type: what stands before its colon.

    Parameters
    ----------
    label : str
        A call type, such as ``marsh hooter: boom``.

    Returns
    -------
    str
        The animal; empty where the label has no colon.

    Examples
    --------
    >>> species_of("marsh hooter: boom"), species_of("call")
    ('marsh hooter', '')
    """
    head, colon, _ = label.partition(":")
    return head.strip() if colon else ""


def parse_label(text: str) -> str:
    """Bring a label as a user typed it into the form that is kept.

    Parameters
    ----------
    text : str
        What was typed.

    Returns
    -------
    str
        The label: spaces single, noise kinds and `NO_CALL` in small letters, call types as typed.

    Raises
    ------
    InputError
        If it is empty, too long, holds control characters, is `CALL`, or has a slash without a
        noise kind before it.

    Examples
    --------
    >>> parse_label(" Pit  rail: rasp ")
    'Pit rail: rasp'
    >>> parse_label("Machine / hedge trimmer")
    'machine/hedge trimmer'
    """
    label = " ".join(one_spelling(text).split())
    if not label:
        raise InputError("a label is empty; write a call type, a noise kind or `no call`")
    if len(label) > LONGEST:
        raise InputError(
            f"the label `{label[:20]}…` is longer than {LONGEST} characters; shorten it"
        )
    if any(unicodedata.category(character) == "Cc" for character in label):
        raise InputError(f"the label {label!r} holds a control character; type it again")
    plain = label.casefold()
    if plain == NO_CALL:
        return NO_CALL
    if plain == CALL:
        raise InputError("`call` names no type; write the call type, or `no call` if it is none")
    head, slash, detail = (part.strip() for part in label.partition("/"))
    kind = head.casefold()
    if kind in NOISE_KINDS:
        if slash and not detail:
            raise InputError(f"`{label}` ends with its slash; write `{kind}`, or a detail after it")
        return f"{kind}/{detail}" if detail else kind
    if slash and ":" not in head:
        raise InputError(
            f"`{label}`: `{head}` is no noise kind; a slash stands after one of"
            f" {', '.join(NOISE_KINDS)}, so write a call type with a colon instead"
        )
    return label


def spelling_twins(labels: Iterable[str]) -> list[tuple[str, ...]]:
    """Find labels that differ only in capitals, spaces or punctuation.

    Parameters
    ----------
    labels : iterable of str
        Labels in use.

    Returns
    -------
    list of tuple of str
        Sets of labels that are probably meant to be one, in alphabetical order.

    Examples
    --------
    >>> spelling_twins(["pit rail: rasp", "Pit rail rasp", "wind"])
    [('Pit rail rasp', 'pit rail: rasp')]
    """
    alike = defaultdict(set)
    for label in labels:
        alike["".join(c for c in label.casefold() if c.isalnum())].add(label)
    return sorted(tuple(sorted(names)) for names in alike.values() if len(names) > 1)


def read_labels(path: Path, *, unnamed: bool = False) -> tuple[Label, ...]:
    """Read labels from a table.

    Parameters
    ----------
    path : Path
        A CSV file in UTF-8, or in UTF-16 with its mark, with the columns `COLUMNS` and, optional,
        ``group``. Semicolons or tabs may stand for its commas, and with those a comma for the
        decimal point. A line that states what stands between cells, ``sep=;``, may come first.
    unnamed : bool
        Whether calls of no named type belong to it: rows whose label is `CALL` or empty, and files
        without a column of labels. Otherwise such rows are passed over, and such files refused.

    Returns
    -------
    tuple of Label
        The labels in the order of the file.

    Raises
    ------
    InputError
        If the file cannot be read, or a row cannot be used: the file and its line are named.
    """
    needed = [name for name in COLUMNS if not (unnamed and name == "label")]
    labels = []
    for line, row in read_rows(path, needed):
        try:
            label = label_of_row(row, unnamed=unnamed)
        except InputError as error:
            raise InputError(f"{path.name}, line {line}: {error}") from None
        if label is not None:
            labels.append(label)
    return tuple(labels)


def read_rows(path: Path, needed: Sequence[str]) -> Iterator[tuple[int, dict[str, str]]]:
    """Read a table that a user made, whatever program wrote it.

    Parameters
    ----------
    path : Path
        A CSV file as `read_labels` takes it.
    needed : sequence of str
        Columns that it must have.

    Yields
    ------
    tuple of int and dict of str to str
        Line in the file, and cells by column in small letters; empty rows are passed over.

    Raises
    ------
    InputError
        If the file cannot be read or lacks a column.
    """
    rows = _rows(path)
    names = [name.strip().casefold() for name in next(rows, (1, []))[1]]
    if missing := [name for name in needed if name not in names]:
        raise InputError(
            f"{path.name}: no column {', '.join(missing)}; the first line must name"
            f" {', '.join(needed)}"
        )
    for line, cells in rows:
        row = dict(zip(names, (cell.strip() for cell in cells), strict=False))
        if beyond := [cell.strip() for cell in cells[len(names) :] if cell.strip()]:
            row[_BEYOND] = beyond[0]
        if any(row.values()):
            yield line, row


def _rows(path: Path) -> Iterator[tuple[int, list[str]]]:
    """Lines of a table, counted from one, as cells."""
    try:
        content = path.read_bytes()
        text = content.decode("utf-16" if content.startswith(_UTF_16) else "utf-8-sig")
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError:
        raise InputError(f"{path.name}: is not text in UTF-8; save it as CSV in UTF-8") from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"{path.name}: cannot be read ({reason}); name a CSV file") from None
    first, _, rest = text.partition("\n")
    delimiter = max(",;\t", key=first.count)
    before = 0
    if stated := _STATED.fullmatch(first):
        text, before, delimiter = rest, 1, stated[1]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        for cells in reader:
            if delimiter != ",":
                cells = [_point(cell) for cell in cells]
            yield before + reader.line_num, cells
    except csv.Error as error:
        line = before + reader.line_num
        raise InputError(f"{path.name}, line {line}: is no CSV ({error})") from None


def _point(cell: str) -> str:
    """Write a number with a decimal comma as one with a point; leave all else."""
    whole, comma, decimals = cell.strip().partition(",")
    digits = whole.removeprefix("-").isdigit() and decimals.isdigit()
    return f"{whole}.{decimals}" if comma and digits else cell


def label_of_row(row: Mapping[str, str], *, unnamed: bool = False) -> Label | None:
    """Read the label that a row of a user's table gives.

    Parameters
    ----------
    row : mapping of str to str
        Cells by column, as `read_rows` gives them.
    unnamed : bool
        As in `read_labels`.

    Returns
    -------
    Label or None
        The label; None for a row that names no type, unless `unnamed`.

    Raises
    ------
    InputError
        If the row cannot be used.
    """
    take = take_cell(row)
    start_s, end_s = (_seconds(row.get(name, ""), name) for name in ("start_s", "end_s"))
    if end_s <= start_s:
        raise InputError(f"end_s ({end_s:g}) must be later than start_s ({start_s:g})")
    text = _unguarded(row.get("label", "")) or CALL
    if text.casefold() == CALL:
        if not unnamed:
            return None
        label = CALL
    else:
        label = parse_label(text)
    return Label(
        take=take, start_s=start_s, end_s=end_s, label=label, group=row.get("group") or None
    )


def take_cell(row: Mapping[str, str]) -> str:
    """Read the take that a row of a user's table names.

    Parameters
    ----------
    row : mapping of str to str
        Cells by column, as `read_rows` gives them.

    Returns
    -------
    str
        Path of the take, with ``/`` between its parts.

    Raises
    ------
    InputError
        If none is named, or the row has more cells than there are columns: then none of them can be
        trusted to stand under its own.
    """
    if _BEYOND in row:
        raise InputError(
            f"more cells than columns (`{row[_BEYOND]}` has none); write numbers with a point, and"
            " put a text that holds a comma in quotes"
        )
    take = _unguarded(row.get("take", "")).replace("\\", "/")
    if not take:
        raise InputError("no take is named")
    return take


def known_take(name: str, takes: Collection[str]) -> str:
    """Find the take that a user means.

    Parameters
    ----------
    name : str
        Its path as the log lists it; its file name, or the end of its path, where only one ends so.
    takes : collection of str
        Paths of the takes that there are.

    Returns
    -------
    str
        Its path.

    Raises
    ------
    InputError
        If there is no such take, or several.

    Examples
    --------
    >>> known_take("A001.mov", ["hide/A001.mov", "hide/A002.mov"])
    'hide/A001.mov'
    """
    if name in takes:
        return name
    plain = one_spelling(name)
    forms = [(take, one_spelling(take)) for take in takes]
    alike = [take for take, form in forms if form == plain]
    alike = alike or [take for take, form in forms if form.endswith(f"/{plain}")]
    if len(alike) > 1:
        raise InputError(f"{name}: several takes have this name; write the path as listed")
    if not alike:
        raise InputError(f"{name}: no such take in the log; `calltag takes` lists their names")
    return alike[0]


def _unguarded(cell: str) -> str:
    """Take off the apostrophe that keeps a spreadsheet from reading a text as a formula."""
    return cell[1:] if cell[:1] == "'" and cell[1:2] in tuple("=+-@") else cell


def _seconds(text: str, name: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or value < 0:
        raise InputError(f"{name} is `{text}`; write seconds from the start of the take, as 12.34")
    return value

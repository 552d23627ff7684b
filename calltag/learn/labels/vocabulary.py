"""The vocabulary of labels.

A label is one of three things. A noise kind is one of `NOISE_KINDS`, and may carry a detail after a
slash: ``machine/hedge trimmer``. `NO_CALL` says that a find is no call. Everything else is a call
type, in the user's own words: ``pit rail: rasp``. What has been found but not named bears `CALL`,
which is no label.
"""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable
from difflib import get_close_matches

from calltag.errors import InputError
from calltag.records.label import CALL, NO_CALL, NOISE_KINDS
from calltag.records.marker import NOISE_MARK, USABLE_SOUND
from calltag.spelling import one_spelling

LONGEST = 80
"""Characters that a label may have: more does not fit a marker."""

_NEAR = 0.9  # of difflib: a slip of the finger in a label of a dozen letters


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
        If it is empty, too long, holds control characters, is `CALL` or the name of a marker that
        marks no call, or has a slash without a noise kind before it.

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
    if plain == USABLE_SOUND or noise_kind(plain.removeprefix(NOISE_MARK)) != noise_kind(plain):
        raise InputError(
            f"`{label}` is the name of a marker, and no label; take the line out, or write what "
            "sounds there"
        )
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
        alike["".join(c for c in label.casefold() if _is_spoken(c))].add(label)
    return sorted(tuple(sorted(names)) for names in alike.values() if len(names) > 1)


def probably_meant(label: str, others: Iterable[str]) -> str | None:
    """Tell which other label is probably meant by one that is spelt almost as it is.

    Parameters
    ----------
    label : str
        A label as `parse_label` gives it.
    others : iterable of str
        Labels in use; the noise kinds and `NO_CALL` always are.

    Returns
    -------
    str or None
        The nearest; None where none is near, or where they differ in digits, also Roman ones, or in
        a letter that stands alone, as ``song a`` and ``song b`` do.

    Examples
    --------
    >>> probably_meant("pit rial: rasp", ["pit rail: rasp"]), probably_meant("maschine", [])
    ('pit rail: rasp', 'machine')
    >>> probably_meant("pit rail: song b", ["pit rail: song a"]) is None
    True
    """
    candidates = [*others, *NOISE_KINDS, NO_CALL]
    forms = {
        one.casefold(): one for one in candidates if one != label and _counts(one) == _counts(label)
    }
    near = get_close_matches(label.casefold(), forms, n=1, cutoff=_NEAR)
    return forms[near[0]] if near else None


def _counts(label: str) -> list[str]:
    """The digits of a label and the letters that stand alone: what numbers types of one kind."""
    return re.findall(r"\d+|\b(?:[ivx]+|[^\W\d_])\b", label.casefold())


def _is_spoken(character: str) -> bool:
    """Whether it is a letter, a digit, or a sign that is written with one, as vowels may be."""
    return unicodedata.category(character)[0] in "LNM"

"""Pages from templates: everything that is put into one is escaped.

Templates lie in ``templates/``, what browsers load in ``static/``; both are part of the package.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import jinja2

from calltag import words

STATIC_TYPES = {".css": "text/css", ".js": "text/javascript"}
"""What lies in ``static/``, and what browsers are told that it is."""


@cache
def environment() -> jinja2.Environment:
    """Return the environment that templates are rendered in.

    Returns
    -------
    jinja2.Environment
        Escaping is always on, and a name that was not given is an error. Filters: ``position``,
        ``take_length``, ``counted``, ``sure`` and ``how_sure`` of `calltag.words`, ``percent`` for
        shares, ``decibels`` for levels.
    """
    made = jinja2.Environment(
        loader=jinja2.PackageLoader("calltag.pages"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["position"] = words.position
    made.filters["take_length"] = words.take_length
    made.filters["counted"] = words.counted
    made.filters["sure"] = words.sure
    made.filters["how_sure"] = words.how_sure
    made.filters["percent"] = percent
    made.filters["decibels"] = decibels
    return made


def percent(share: float) -> str:
    """Write a share for a place in a picture.

    Parameters
    ----------
    share : float
        From 0 to 1.

    Returns
    -------
    str
        Per cent to a hundredth.

    Examples
    --------
    >>> percent(0.12345)
    '12.35%'
    """
    return f"{100 * share:.2f}%"


def decibels(level_db: float) -> str:
    """Write how far a level lies from another.

    Parameters
    ----------
    level_db : float
        In dB.

    Returns
    -------
    str
        Whole decibels; never ``-0``.

    Examples
    --------
    >>> decibels(12.4), decibels(-0.3)
    ('12 dB', '0 dB')
    """
    return f"{round(level_db)} dB"


def render(template: str, **values: object) -> str:
    """Fill in a template.

    Parameters
    ----------
    template : str
        Its file in ``templates/``.
    **values : object
        What it is given.

    Returns
    -------
    str
        The page, or part of one, as HTML.
    """
    return environment().get_template(template).render(**values)


@cache
def static_names() -> frozenset[str]:
    """List what lies in ``static/``.

    Returns
    -------
    frozenset of str
        File names.
    """
    folder = files("calltag.pages") / "static"
    return frozenset(one.name for one in folder.iterdir() if one.name.endswith(tuple(STATIC_TYPES)))


@cache
def static_text(name: str) -> str:
    """Read a file of ``static/``, as to put it into a page that stands alone.

    Parameters
    ----------
    name : str
        One of `static_names`.

    Returns
    -------
    str
        Its content.

    Raises
    ------
    KeyError
        If there is no such file.
    """
    if name not in static_names():
        raise KeyError(name)
    return (files("calltag.pages") / "static" / name).read_text("utf-8")

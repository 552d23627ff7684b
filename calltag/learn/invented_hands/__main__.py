"""Learn anew what hands sound like: ``python -m calltag.learn.invented_hands``."""

from __future__ import annotations

from calltag.errors import InputError
from calltag.learn.invented_hands.making import make
from calltag.learn.invented_takes.program import run


def main() -> None:
    """Make what tells handling from calls, beside a starter model."""
    run(
        make,
        prog="python -m calltag.learn.invented_hands",
        description="Learn anew what handling sounds like to a starter model; takes ten minutes.",
        seed=41,
    )


if __name__ == "__main__":
    try:
        main()
    except InputError as error:
        raise SystemExit(str(error)) from None

"""Learn anew what talk sounds like: ``python -m calltag.learn.invented_talk``."""

from __future__ import annotations

from calltag.errors import InputError
from calltag.learn.invented_takes.program import run
from calltag.learn.invented_talk.making import make
from calltag.learn.invented_talk.speakers import check_speakers


def main() -> None:
    """Make what tells talk from calls, beside a starter model."""
    run(
        make,
        prog="python -m calltag.learn.invented_talk",
        description="Learn anew what people who talk sound like to a starter model; takes ten"
        " minutes, and the Debian packages espeak-ng and flite.",
        seed=31,
        check=check_speakers,
    )


if __name__ == "__main__":
    try:
        main()
    except InputError as error:
        raise SystemExit(str(error)) from None

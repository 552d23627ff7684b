"""`python -m calltag` is the same as `calltag`."""

from calltag.cli import main

main()

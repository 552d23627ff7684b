"""Beds: clean natural background, to lay under pictures whose sound is lost.

`making` makes one of `clean_stretches`, joined by a `crossfade`.
"""

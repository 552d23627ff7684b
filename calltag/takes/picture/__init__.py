"""How steady and how sharp the picture is.

`grades` are what the user sees. `measuring` has the `motion` and `sharpness` of a few frames, and
`looking` goes through many takes and keeps what was seen.
"""

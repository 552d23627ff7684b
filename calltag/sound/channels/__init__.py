"""Which channel of a take to listen to, and what is wrong with the others.

`choosing` goes by what `channel_seconds` measures in each second and what `channel_faults` finds:
`clipping`, `silences` and `dropouts`. `faults` says what follows from a fault, and in which words.
"""

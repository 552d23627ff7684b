"""Which noise sounds in each second of a take.

`meter` makes the spans that the log keeps. It asks `low_noise` of wind and knocks, and `beats` of
machines, where the starter model alone is in doubt.
"""

"""Which noise sounds in each second of a take.

`meter` makes the spans that the log keeps. It asks `wind_and_knocks` of wind and knocks, and
`beats` of machines, where the starter model alone is in doubt.
"""

"""What turns or throbs evenly, as engines do and animals do not.

`comb` finds lines at even distances in a spectrum, `throb` noise that swells at an even rate, `hum`
the mains; `engine` asks them of a stretch of sound and says whether a machine runs.
"""

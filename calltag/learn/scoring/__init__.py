"""Finds held against a list of what is there.

`score` reads the list, `event_matching` pairs it with the finds, `counting` counts, and `intervals`
says how sure a share of so many is.
"""

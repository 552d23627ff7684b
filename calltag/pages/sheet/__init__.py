"""The sheet: the whole shoot on one page, to look through, to listen to and to print.

`writing` writes it, to the `place` that is asked for. `view` puts takes and calls into words,
`strip` draws a take, `overview` sums the shoot up, and `media` makes what is seen and heard.
"""

"""The catalogue: what the files say, where it is found fast.

`catalogue` opens it, with the tables and steps of `schema`. `kept_rows` makes rows of a story,
`measured` has the measurements; `measured_again` makes those anew that another version left.
"""

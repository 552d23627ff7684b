"""Finding kept calls.

`find` answers a question, in an `order`; `doubles` are calls that lie there more than once. `like`
has the calls that are most like a `sample`, by their `likeness`.
"""

"""What a user calls things.

`vocabulary` has the words; `user_table` and `label_file` read what a user wrote, `by_hand` lays it
over the finds, with `sameness` to say which find is meant, and `relabel` gives labels other names.
"""

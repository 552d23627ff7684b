"""The edit: markers and their formats, retiming, sound delay, sync, selects, tables.

`marking` makes `markers` of the calls that a `call_filter` lets through, on one take or on
`every_camera`; `formats` write them, `per_take` and `take_files` where each take gets its own.
`retime` places them in footage that is slowed down. `sync` lines takes up by their sound, and
`shared_clock` is the clock that these have in common; `seen_twice` says which calls two of them
heard. `selects` are the best calls in a row, by their `worth`.
"""

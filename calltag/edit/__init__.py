"""The edit: markers and their formats, retiming, sound delay, sync, selects, tables.

- `marking` makes `markers` of the calls that a `call_filter` lets through, on one take or on
  `every_camera`: earlier by `sound_delay`, and by `retime` in footage that is slowed down
- `formats` write them, with `take_files` where each take gets its own; what a user sets for one
  take alone is in `take_settings`
- `sync` lines takes up by their sound, and `shared_clock` is the clock that these have in common;
  `heard_twice` says which calls two of them heard, `over_joins` which lie in two files of one
  recording
- `selects` are the best calls in a row, by their `worth`, and `selects_sound` is their sound
- `tables` are what listings tell of calls and takes
"""

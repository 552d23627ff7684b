"""Takes that heard the same moment, lined up by their sound.

`lining_up` goes through the pairs, in the `order` that clocks suggest. Of each it takes a `trace`,
in which `search` names places that may agree, and `line` looks at one closely. `by_joins` and
`by_clocks` are a second way for what the sound leaves open; `camera_clocks` has what lined-up pairs
say of two cameras' clocks.
"""

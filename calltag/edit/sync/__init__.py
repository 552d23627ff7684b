"""Takes that heard the same moment, lined up by their sound.

`lining_up` goes through the pairs, in the `order` that clocks suggest, and takes a `trace` of each
take. `comparing` says what two of them come to: `search` names places that may agree, `line` looks
at one closely. `by_joins` and `by_clocks` are a second way for what the sound leaves open;
`camera_clocks` has what lined-up pairs say of two cameras' clocks, `clock_differences` how far
these are apart.
"""

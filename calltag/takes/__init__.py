"""Judging takes: verdicts, what can be rescued, beds.

A `verdict` says how a take's sound is and why: `reasons`, in the `words` of all that is said of
takes, from what `masking` the noise does to its calls, by the limits of `thresholds`, on the
`used_channels`; `usable` has the stretches. `filter_cuts` are the low and high cuts that a noise
calls for. `rescue` tries what would help a spoilt take, `bed` lays clean background, `picture`
grades how steady and sharp the pictures are, and `companions` are takes that ran at the same time.
"""

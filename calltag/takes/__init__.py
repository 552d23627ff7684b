"""Judging takes: verdicts, what can be rescued, beds.

A `verdict` says how a take's sound is and why: `reasons` from what `masking` the noise does to its
calls, by the limits of `thresholds`, on the channels that are used; `usable` has the stretches.
`rescue` tries what would help a spoilt take, `bed` lays clean background, `picture` grades how
steady and sharp the pictures are, and `companions` are takes that ran at the same time.
"""

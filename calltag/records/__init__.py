"""The records that pass between the parts of calltag.

A `take`, what is `found` in it (calls and noise), its `verdict`; a user's `label`, an `alignment`
of two takes, a `marker` for the edit. A `span` is a stretch of time.

Conventions, here and everywhere: seconds count from the take's first picture, or its first sample
where it has none (timecode is `calltag.media.timing.clock`'s); frequencies are hertz; levels are
decibels relative to full scale (dBFS, a full-scale sine peaks at 0); a span holds its start and not
its end. All records are frozen.
"""

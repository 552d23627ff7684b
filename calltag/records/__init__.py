"""The records that pass between the parts of calltag.

Conventions, here and everywhere: seconds count from the take's first picture, or its first sample
where it has none (timecode is `calltag.media.timing.clock`'s); frequencies are hertz; levels are
decibels relative to full scale (dBFS, a full-scale sine peaks at 0); a span holds its start and not
its end. All records are frozen.
"""

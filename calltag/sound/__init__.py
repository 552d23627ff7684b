"""Samples to measurements.

`spectrum` is taken once, and all else is read off it: the noise `floor`, the `background`, the
`shape` of a moment, `events` with their band and level and their `loud_frames`, `envelope` and
`modulation`, and the row of `features` that an event is told by; `wind_and_knocks`, `swells` and
`gain_steps` are what wind, aircraft and a recorder's automatic gain leave. `channels` has which
channel to listen to and what is wrong with the others, `loudness` the broadcasters' measures,
`beats` what turns or throbs evenly. `runs`, `running`, `quantiles`, `thinning`, `filters` and
`fading` are tools of these.
"""

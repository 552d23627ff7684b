"""How the starter model is made: invented calls, real and synthetic noise, scenes, training.

- `synth_calls` and `synth_noise` invent sound, `recordings` reads what `models/sources.csv` lists,
  and `sounding` is where a call in it sounds
- a `bank` of both is what `compose` makes lessons of; `training` teaches them to the `net`
- on `scenes` of sound, `calibrate` teaches the second look, and `judge` gives the figures of the
  `card`
- `making` does it all

Nothing here is needed to use calltag. `python -m calltag.learn.starter` rebuilds the model in
`models/` from a folder of labelled recordings (extra ``train``).
"""

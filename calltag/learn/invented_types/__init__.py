"""How voice and kinship are made: invented call types, and what tells them apart.

What makes two calls alike, and what is only distance, weather and chance, is much the same for all
animals, and five labels are too few to learn it from. So it is learnt beforehand, from thousands of
types that no animal has: each calls a few times, from individuals of slightly different voice and
in different rooms, out of backgrounds of all kinds and at levels down to that of the noise, now and
then cut short, or twice in one find, or with another animal farther away. A small network learns to
tell most of them apart (`calltag.learn.networks.voice`). Of the others two covariances are taken,
within types and between them, of the measurements and of what the network makes of calls that it
never heard; `calltag.learn.call_types.kinship` reads those. No recording goes into it.

`animals` invents types, `heard` measures their calls, `voice_lessons` teaches the network and
`covariances` makes kinship's numbers; `making` does it all.

Nothing here is needed to use calltag. `python -m calltag.learn.invented_types` makes both anew
(extra ``train``).
"""

"""How calltag learns what hands sound like: invented tripods and feet, among invented animals.

`synth_hands` makes knocks, rubs, squeals, clicks, cloth, leaves, steps and zips, of a tripod or a
ground that exists nowhere. `takes` plants such handling, or animals that no one has seen, or both,
in air, wind, water and machines. What is found there, and might be taken for calls, is what
`making` learns from. Nothing here is needed to use calltag: ``python -m
calltag.learn.invented_hands`` makes ``models/starter_hands.json`` anew, in ten minutes.
"""

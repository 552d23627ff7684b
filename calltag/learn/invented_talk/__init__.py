"""How calltag learns what people who talk sound like: invented people, among invented animals.

Words are made up, and spoken by voices that exist only as programs: `speakers` has hundreds, in
some sixty languages. `takes` plants such talk, or animals that no one has seen, or both, in air,
wind, water and machines. What is found there, and might be taken for calls, is what `making` learns
from. Nothing here is needed to use calltag: ``python -m calltag.learn.invented_talk`` makes
``models/starter_talk.json`` anew, in ten minutes, with the Debian packages espeak-ng and flite.
"""

"""Learning: the starter model that finds calls, and the tagger taught by the user's labels.

A room for each part of it, the lower ones first:

- `networks`: the small networks that ship, and what they hear
- `labels`: what a user calls things, and where labels lie
- `noise`: which noise sounds in each second
- `scoring`: finds held against a list of what is there
- `finding`: from a take's sound to its calls
- `call_types`: types learnt from labels, and how sure they are
- `starter`, `invented_types`, `invented_talk` and `invented_hands`: the programs that make what
  ships; the last two learn from `invented_takes`
"""

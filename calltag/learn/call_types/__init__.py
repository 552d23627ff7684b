"""Call types, learnt from a few labels of each.

- `teach` does it all and says how well it went; `examples` are what it learns from
- `judges` vote on each sound, with `kinship` to say what calls of one type share; a `panel` says
  which judges vote, and `out_of_fold` tries it on takes that it has not learnt from
- `confidence` makes odds of votes, `trust` says when the panel is to be believed, `prevalence` how
  common the types are among all finds, and `series` what finds of one take tell each other
- `tagger` is all of these, taught; `model_file` keeps it; `validate` says how good it is
- `next_to_label` and `listening_order`: which sounds are worth labelling next
"""

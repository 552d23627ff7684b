"""Takes that talk and handling are learnt from, and how.

In a take something sounds that might be taken for calls, or animals that no one has seen call, or
both, in air, wind, water and machines: `parts` puts it together, `callers` are the animals. What is
found in such takes is what `lessons` are made of, and `weighing` learns a sum of evidence from
those; `program` is the command line of that. `calltag.learn.invented_talk` and
`calltag.learn.invented_hands` say what sounds, and which evidence counts.
"""

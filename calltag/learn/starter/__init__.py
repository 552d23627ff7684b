"""How the starter model is made: invented calls, real and synthetic noise, scenes, training.

Nothing here is needed to use calltag. `python -m calltag.learn.starter` rebuilds the model in
`models/` from a folder of labelled recordings (extra ``train``).
"""

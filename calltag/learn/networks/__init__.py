"""Small networks kept as ONNX files, and what they hear.

`network` opens and writes such a file. `starter_model` runs the starter model: calls and noise
kinds at each moment; `starter_files` says which files it is made of. `voice` makes the numbers of a
find that tell call types apart.
"""

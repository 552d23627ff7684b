"""The file of a kept call, which tells its story by itself.

`story` is what there is to know of a call, and `rdf` says it in open vocabularies. `sound_file`
writes that beside the sound, into a wave file or with `flac`, and reads it back.
"""

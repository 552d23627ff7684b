"""Wave files, read and written.

`wav_file` finds the chunks of one, `bext` is what it says of its take, and `wav_writing` writes it.
"""

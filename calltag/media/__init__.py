"""What is in a file: its streams, its sound, its pictures, and when they were.

- `rushes` finds the clips, but for calltag's `own` files; `identity` tells one by its content
- `opening` opens one, or says by `unreadable` why not; `probe` is what it states, with what
  `streams` has of its streams
- `sound_blocks` reads the sound, `pictures` the picture, `wave_files` what wave files hold besides;
  `timing` is rates, timecode and clocks
- `copies` are takes that lie there twice, `joins` recordings that go on over several files
"""

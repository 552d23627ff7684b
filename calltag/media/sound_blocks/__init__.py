"""The sound of a take, in blocks.

`reader` is all that others need; `missing_sound` tells where the sound is damaged. Within: `_track`
decodes (`_decoding`), places (`_placing`) and queues (`_gathering`) the frames of one stream and
notes its `_flaws`; `_canvas` puts the streams together, and `_seeking` goes to a later time.
"""

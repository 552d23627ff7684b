"""When what is in a take was: its frames, its rate, its start, and the time of day.

`timecode` counts frames at a rate, `rates` brings stated rates back to the standard ones, and a
take's `clock` puts seconds on its frames. What a file says of its start is in `stated_start`, of
its rate in `picture_rate`; `when` tells the date and time of a moment.
"""

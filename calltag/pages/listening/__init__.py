"""The listening page: one sound at a time, to be labelled by ear.

`app` answers the browser. A `session` holds what is open: `heard` is a sound, `sounds` all of a
log in an `order`, `shelf` their pictures and excerpts; `answers` are what the user says of them,
and `teaching` learns from these while the page is open.
"""

"""The call library: calls kept as files that tell their own story, and a catalogue to find them by.

`keep` puts calls in, as `cuts` of their takes, and `company` notes what else called there.
`hand_out` copies calls into an edit, `lessons` teaches call types with them, `tables` lists them.
`check` looks for damage, and `rebuild` makes the catalogue anew.

Below these are three rooms: `kept_file` is what one file holds, `catalogue` what is known of all,
and `search` finds calls in it.
"""

"""Pages to look at and listen to: the sheet, the listening page, the library page.

`sheet` is one file to look through and print. `listening` is a page to label by ear, `library_page`
one to go through the library; both are served to this computer alone, by `server` behind its
`guard`, with `responses` of one kind, and keep what is `recent`. What all show, `rendering` puts
into the templates: a `spectrogram` in the colours of `ink`, a `still`, an `excerpt` of the sound.
`shown_files` says where files lie that they show.
"""

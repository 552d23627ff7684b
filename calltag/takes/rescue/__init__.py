"""What would help a spoilt take, and doing it.

`examining` tries channels, cuts, notches and other recorders, and `whole_cut` looks for cuts that
nothing names. How far a call then stands above the rest is measured in `call_spectra`, by
`standing`; `advice` puts it into words. `treatment` does what is wanted, `treated_file` writes it.
"""

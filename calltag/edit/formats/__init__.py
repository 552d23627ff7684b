"""One module per marker format."""

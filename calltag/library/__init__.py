"""The call library: cuts, their metadata, the catalogue, likeness."""

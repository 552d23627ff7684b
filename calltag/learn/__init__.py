"""Learning: the starter model that finds calls, and the tagger taught by the user's labels."""

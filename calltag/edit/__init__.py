"""The edit: markers and their formats, retiming, sound delay, sync, selects, tables."""

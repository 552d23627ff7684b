"""The edit: timecode, retiming, sound delay, sync, markers. The only part that knows timecode."""

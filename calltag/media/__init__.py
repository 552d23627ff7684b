"""What is in a file: streams, rates, start timecode; the sound in blocks."""

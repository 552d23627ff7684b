"""Judging takes: verdicts, masking, what can be rescued, beds."""

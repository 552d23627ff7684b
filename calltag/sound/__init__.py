"""Samples to measurements: spectrum, onsets, events, features, levels, noise."""

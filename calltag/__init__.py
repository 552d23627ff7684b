"""calltag: finds animal calls in a day's clips and puts markers into the edit."""

__version__ = "0.1.0"

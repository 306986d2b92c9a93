"""Readings: every quantity the engine can report, one function each, by dotted key."""

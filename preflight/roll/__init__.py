"""The roll: whether a film's cut lies on it."""

"""A track in, attempts out: which skill, from when to when, going which way, and its key window."""

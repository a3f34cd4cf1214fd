"""A folder in, what to process out: clips, roster, consent, naming; decoded frames with true times and rotation."""

"""The night's work: a queue of clips in, every clip accounted for out."""

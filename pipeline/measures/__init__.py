"""A track and an attempt in, readings and curves out: geometry, one file per skill, uncertainty."""

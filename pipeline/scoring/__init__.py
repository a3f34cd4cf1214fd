"""Readings and tolerances in, verdicts out."""

"""Matside: clips of young gymnasts in, body lines measured with honest uncertainty, pages out.

Rooms, lowest first: clips, landmarks, attempts, measures, scoring, trends, reports, batch.
A lower room never imports a higher one. Importing this package loads nothing heavy.
"""

__version__ = "0.1.0"

"""Readings and tolerances in, verdicts out.

`tolerances.load_tolerances` reads what counts as met; `verdicts.score` fills the `verdict` column.
"""

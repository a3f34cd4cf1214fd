"""A landmark model file, a body model and real pictures in, a landmark model that knows our skills' poses out (extra `tune`).

Runs by itself, `python -m pipeline.landmarks.tuning --help`; nothing else in Matside needs it.
"""

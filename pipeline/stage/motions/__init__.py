"""Motions: one file a skill. In: a body and how it is done (faults, timing). Out: a Movement on the floor, along +x.

A child faces +x at the start; z is up. Every motion is written leading with the left and mirrored for the right.
"""

"""The stage: draws young gymnasts doing the four skills, with every joint known exactly (extra `render`).

In: a scene (who, what, where, which camera). Out: a clip, its true joints a frame (CSV) and its true details (rows).
"""

"""Video in, one athlete's landmark track out (cached as Parquet).

Finds people, chooses the athlete over the whole clip, follows both ways, keeps gaps as gaps.
"""

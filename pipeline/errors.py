"""The one error a user is meant to read: a single line saying where, what was expected, what came, what to do."""


class MatsideError(Exception):
    """Something the user can act on. `str(error)` is one complete line, shown without a traceback."""

"""The one error a user is meant to read: a single line saying where, what was expected, what came, what to do."""

CANNOT_RUN, ANOTHER_RUN = 4, 5  # exit codes; the command line has the others


class MatsideError(Exception):
    """Something the user can act on. `str(error)` is one complete line, shown without a traceback."""

    lasting = False  # whether trying again is useless while the file it speaks of stays as it is
    exit_code = CANNOT_RUN

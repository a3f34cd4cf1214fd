"""The command line as it is typed, for tests."""

import contextlib
import io
import sys

from pipeline import cli


def matside(*arguments):
    """(exit code, stdout, stderr) of the real entry point, in this process."""
    out, err = io.StringIO(), io.StringIO()
    before = sys.argv
    sys.argv = ["matside", *map(str, arguments)]
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                cli.main()
                code = 0
            except SystemExit as end:
                code = end.code or 0
    finally:
        sys.argv = before
    return code, out.getvalue(), err.getvalue()

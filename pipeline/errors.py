"""The one error a user is meant to read: a single line saying where, what was expected, what came, what to do."""

import unicodedata

WRONG_COMMAND_LINE, CANNOT_RUN, ANOTHER_RUN = 2, 4, 5  # exit codes; the command line has the others
JOINER, VARIANT = "\u200d", "\ufe0f\U0001f3fb\U0001f3fc\U0001f3fd\U0001f3fe\U0001f3ff"  # of emoji; how they look, skin tones
TRICKS = {"Cc", "Cf", "Cs", "Zl", "Zp"}  # control, direction and invisible characters, halves of characters, line separators


def plain(text: str) -> str:
    r"""The text with everything that could play tricks on a terminal or a log written out; line breaks stay.

    >>> plain("OT\u202e-01\x1b[2J")
    'OT\\u202e-01\\x1b[2J'
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(c if c == "\n" or _harmless(text, i) else repr(c)[1:-1] for i, c in enumerate(text))


def one_line(text: str) -> str:
    r"""The same on one line, as a name of a file or of an athlete may be anything.

    >>> one_line("two\nlines")
    'two\\nlines'
    """
    return plain(text).replace("\n", "\\n")


def said_of(name: str, message: str) -> str:
    r"""What a message says of a file whose name stands beside it already: the message without that name in front.

    >>> said_of("a\udcff.mp4", plain("a\udcff.mp4: the file is empty"))
    'the file is empty'
    """
    return message.removeprefix(f"{name}: ").removeprefix(f"{plain(name)}: ")


def _harmless(text: str, i: int) -> bool:
    """A character that only shows itself; the joiner that makes one sign of two (a person and what she does) is, between signs."""
    if text[i] == JOINER:
        before = text[:i].rstrip(VARIANT)[-1:]
        return all(one and unicodedata.category(one) == "So" for one in (before, text[i + 1 : i + 2]))
    return unicodedata.category(text[i]) not in TRICKS


def shown(value: object, longest: int = 60) -> str:
    """What somebody wrote, on one line and not too long to be read in a message; a text in quotes.

    >>> shown("a" * 100, 5), shown([1, 2]), shown(list(range(100)), 5)
    ("'aaaaa…'", '[1, 2]', '[0, 1…')
    """
    if isinstance(value, str):
        return repr(value if len(value) <= longest else value[:longest] + "…")
    try:
        text = repr(value)
    except ValueError:  # Python writes out no number of more than 4,300 digits
        return "a number of very many digits"
    return text if len(text) <= longest else text[:longest] + "…"


class MatsideError(Exception):
    """Something the user can act on. `str(error)` is one complete line, shown without a traceback."""

    lasting = False  # whether trying again is useless while the file it speaks of stays as it is
    exit_code = CANNOT_RUN

    def __init__(self, message: str = "") -> None:
        super().__init__(plain(message))


class WrongCommandLine(MatsideError):
    """An option that cannot be meant so."""

    exit_code = WRONG_COMMAND_LINE

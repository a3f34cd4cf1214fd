"""What is typed after an option or a command: what cannot be meant so, or what the machine refuses, is one plain line, and nothing is made."""

import errno
import os
import typing
from pathlib import Path

import pytest

from pipeline import cli
from pipeline.errors import WrongCommandLine
from tests.command_line import matside


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("athlete", "OT-01", "--since", "3.3.26"),
         "--since: expected a date such as 2026-03-02 or 2.3.2026, but got '3.3.26'. Write the year in full and try again."),
        (("compare", "--until", "2026-02-30"),
         "--until: expected a date such as 2026-03-02 or 2.3.2026, but got '2026-02-30'. Write the year in full and try again."),
        (("compare", "--skill", "handstand"),
         "--skill: expected one of lunge, loaded_lunge, cartwheel, backward_roll, shoulder_stand, but got 'handstand'. Choose one and try again."),
        (("run", ".", "--engine", "cloud"), "--engine: expected local or dask, but got 'cloud'. Leave it out for this computer alone."),
        (("points", "fill", "--until", "2026-03-09"), "--until: expected --date, the first day, beside it. Give both."),
        (("run", "README.md"), "FOLDER: expected a folder, but 'README.md' is a file. Name a folder."),
        (("run", ".", "--roster", "a" * 300),
         f"--roster: expected a file, but got '{'a' * 60}…', which the system refuses (File name too long). Name another."),
        (("points", "fill", "--round", "configs"), "--round: expected a file, but 'configs' is a folder. Name a file."),
    ],
)  # fmt: skip
def test_an_option_that_cannot_be_meant_so_is_one_plain_line(words, line, tmp_path):
    assert matside(*words, "--out", tmp_path) == (2, "", f"matside: {line}\n")


@pytest.mark.parametrize(
    ("words", "where", "kind"),
    [
        (("run", ""), "FOLDER", "a folder"),
        (("run", "--wait", ""), "FOLDER", "a folder"),
        (("run", "--out", "pages", ""), "FOLDER", "a folder"),
        (("run", ".", "--roster", ""), "--roster", "a file"),
        (("run", ".", "--settings", " "), "--settings", "a file"),
        (("report", "--out", ""), "--out", "a folder"),
        (("report", "--out="), "--out", "a folder"),
        (("report", "--tolerances="), "--tolerances", "a profile or a file"),
        (("report", "--tolerances", "beginners", "--tolerances", ""), "--tolerances", "a profile or a file"),
        (("practice", "--settings", ""), "--settings", "a file"),
        (("practice", "--roster="), "--roster", "a file"),
        (("points", "blank", "--round", ""), "--round", "a file"),
        (("points", "enter", ""), "FILE", "a file"),
        (("eye", "read", ""), "FILE", "a file"),
        (("routines", ""), "FILE", "a file"),
        (("share", "OT-01", ""), "FILE", "a file"),
    ],
)
def test_an_empty_word_is_never_the_current_folder(words, where, kind, monkeypatch, tmp_path):
    """What a script leaves behind whose variable is not set."""
    monkeypatch.chdir(tmp_path)
    code, out, err = matside(*words)
    assert (code, out) == (2, "") and err.startswith(f"matside: {where}: expected the name of {kind}, but got '") and err.count("\n") == 1
    assert not any(tmp_path.iterdir()), "nothing is made"


def test_every_path_of_every_command_refuses_an_empty_word():
    """None is left to the command-line library, which reads an empty word as the current folder."""

    def commands(app):
        yield from (one.callback for one in app.registered_commands)
        for group in app.registered_groups:
            yield from commands(group.typer_instance)

    hints = [hint for command in commands(cli.app) for hint in typing.get_type_hints(command, include_extras=True).values()]
    paths = [hint.__metadata__[0] for hint in hints if getattr(hint, "__origin__", None) in (Path, Path | None)]
    assert len(paths) > 20
    for parameter in paths:
        with pytest.raises(WrongCommandLine):
            parameter.parser("")


def test_where_the_output_itself_finds_no_room_is_one_line(tmp_path, monkeypatch):
    """A scheduler's log on a disk of its own."""

    def full(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("typer.echo", full)
    code, _, err = matside("doctor", "--out", tmp_path)
    assert code == 4 and err.startswith("matside: a disk is full") and err.count("\n") == 1


@pytest.mark.parametrize("words", [("report",), ("athlete", "OT-01"), ("points", "blank")])
def test_what_this_user_may_not_look_at_is_one_line(tmp_path, monkeypatch, words):
    """A file of somebody else's. Told by the system's own answer, as a test may run as a user who may read all."""
    real, other = os.stat, tmp_path / "another's"

    def refused(path, *args, **kwargs):
        if str(path).startswith(str(other)):
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return real(path, *args, **kwargs)

    monkeypatch.setattr("os.stat", refused)
    code, out, err = matside(*words, "--out", other / "pages")
    assert (code, out) == (4, "") and err == (
        f"matside: {other / 'pages' / 'data' / 'matside.sqlite'}: this user may not read or write it (Permission denied). "
        "Change its rights, close what holds it, or name another.\n"
    )

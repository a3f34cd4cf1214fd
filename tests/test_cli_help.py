"""Help: every command has one with an example, says what exit codes mean, and loads nothing heavy; so does importing."""

import os
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from pipeline import cli

HEAVY = (
    "numpy",
    "pandas",
    "cv2",
    "av",
    "mediapipe",
    "scipy",
    "matplotlib",
    "pyarrow",
    "statsmodels",
    "ai_edge_litert",
    "pydantic",
    "jinja2",
    "psutil",
)
COMMANDS = sorted(command.callback.__name__ for command in cli.app.registered_commands)
GROUPS = {
    group.name or group.typer_instance.info.name: sorted(c.name or c.callback.__name__ for c in group.typer_instance.registered_commands)
    for group in cli.app.registered_groups
}
runner = CliRunner()


def test_the_commands_are_these():
    assert COMMANDS == ["athlete", "compare", "demo", "doctor", "forget", "note", "practice", "report", "routines", "run", "share"]


def test_the_commands_of_the_coachs_own_words_are_these():
    assert GROUPS == {"eye": ["add", "read", "show"], "focus": ["list", "pin", "unpin"], "points": ["blank", "enter", "fill"]}


@pytest.mark.parametrize(("group", "command"), [(group, command) for group, commands in GROUPS.items() for command in ["", *commands]])
def test_each_of_them_explains_itself_with_an_example(group, command):
    result = runner.invoke(cli.app, [*f"{group} {command}".split(), "--help"], env={"COLUMNS": "200"})
    assert result.exit_code == 0
    assert "Example:" in result.output and f"matside {group} {command}".strip() in result.output


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself_with_an_example(command):
    result = runner.invoke(cli.app, [command, "--help"])
    assert result.exit_code == 0
    assert "Example:" in result.output and f"matside {command}" in result.output


def test_the_help_says_what_exit_codes_mean():
    result = runner.invoke(cli.app, ["--help"], env={"COLUMNS": "200"})
    for words in ("Example:", "0 all fine", "3 done, but some clips failed or need you", "5 another run"):
        assert words in " ".join(result.output.split())


@pytest.mark.parametrize(
    "code",
    [
        "import pipeline",
        "import pipeline.clips, pipeline.batch, pipeline.reports, pipeline.trends, pipeline.scoring",
        "import pipeline.cli",
    ],
)
def test_importing_loads_nothing_heavy_and_prints_nothing(code):
    check = f"{code}\nimport sys\nprint([m for m in {HEAVY} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", check], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]" and done.stderr == ""


def test_help_loads_nothing_heavy():
    check = (
        "import sys\nfrom pipeline import cli\nsys.argv = ['matside', '--help']\ntry:\n    cli.main()\nexcept SystemExit:\n    pass\n"
        f"print([m for m in {HEAVY} if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", check], capture_output=True, text=True, check=True)
    assert done.stdout.strip().endswith("[]")


def test_the_module_runs_as_the_command():
    done = subprocess.run([sys.executable, "-m", "pipeline.cli", "--version"], capture_output=True, text=True, env={**os.environ})
    assert done.returncode == 0 and done.stdout.startswith("matside 0.")

"""What is installed: pinned, without hosts, without packages that fight or that need a display."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parents[1]
LISTS = ("requirements.txt", "requirements-dev.txt")
PLATFORMS = [("linux", "x86_64"), ("linux", "aarch64"), ("darwin", "arm64"), ("darwin", "x86_64"), ("win32", "AMD64")]


def lines(name):
    return [line for line in (ROOT / name).read_text().splitlines() if line and not line.startswith("#")]


def chosen(name, platform):
    """{package: version} of one list on one platform."""
    environment = {"sys_platform": platform[0], "platform_machine": platform[1]}
    requirements = [Requirement(line) for line in lines(name)]
    return {r.name: str(r.specifier) for r in requirements if r.marker is None or r.marker.evaluate(environment)}


@pytest.mark.parametrize("platform", PLATFORMS, ids="-".join)
def test_every_package_has_one_exact_version(platform):
    for name in LISTS:
        got = chosen(name, platform)
        assert all(re.fullmatch(r"==[\w.]+", version) for version in got.values()), got
        count = sum(
            1
            for line in lines(name)
            if (m := Requirement(line).marker) is None or m.evaluate({"sys_platform": platform[0], "platform_machine": platform[1]})
        )
        assert len(got) == count, "a package twice"


@pytest.mark.parametrize("platform", PLATFORMS, ids="-".join)
def test_the_list_has_all_that_the_project_needs(platform):
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    environment = {"sys_platform": platform[0], "platform_machine": platform[1]}
    for name, needed in (("requirements.txt", project["dependencies"]), ("requirements-dev.txt", project["optional-dependencies"]["dev"])):
        have = {**chosen("requirements.txt", platform), **chosen(name, platform)}
        for need in map(Requirement, needed):
            if need.marker is None or need.marker.evaluate(environment):
                assert need.specifier.contains(have[need.name.lower()].removeprefix("==")), need


def test_one_opencv_and_none_of_what_poses_never_use():
    names = {Requirement(line).name for name in LISTS for line in lines(name)}
    assert {n for n in names if "opencv" in n} == {"opencv-contrib-python-headless"}
    assert not names & {"jax", "jaxlib", "sounddevice", "sentencepiece", "torch", "tensorflow"}


def test_no_list_names_a_host_or_a_place():
    for name in (*LISTS, "pyproject.toml", "Makefile", ".ci/run", ".ci/check"):
        text = (ROOT / name).read_text()
        assert not re.search(r"https?://|--index-url|--extra-index|--find-links|file:", text), name


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads what Linux has loaded")
def test_the_main_job_loads_no_display_library():
    """All that a clip's work imports, then a look at what the system has mapped: no libGL, no libX11, no libgthread."""
    code = (
        "import cv2, av, pandas, pyarrow.parquet, scipy.signal, ai_edge_litert.interpreter\n"
        "import pipeline.batch.process, pipeline.landmarks.locate, pipeline.landmarks.cache, pipeline.attempts.find\n"
        "import pipeline.measures.measure, pipeline.reports.pictures, pipeline.reports.site\n"
        "print(open('/proc/self/maps').read())"
    )
    maps = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT).stdout
    assert "cv2" in maps
    assert not re.findall(r"lib(?:GL|EGL|X11|gthread)[-.\w]*\.so", maps)


def test_make_says_in_one_line_that_the_python_is_not_the_right_one(tmp_path):
    """Only a Python 3.9 is found."""
    for name in ("python3", "python3.11", "python3.12"):
        fake = tmp_path / name
        fake.write_text(
            '#!/bin/sh\n[ "$1" = --version ] && echo Python 3.9.2 && exit 0\nexit 1\n' if name == "python3" else "#!/bin/sh\nexit 1\n"
        )
        fake.chmod(0o755)
    environment = {"PATH": f"{tmp_path}:/usr/bin:/bin"}
    done = subprocess.run(
        ["make", "-C", ROOT, "-f", "Makefile", "VENV=/nonexistent/venv", "demo"], env=environment, capture_output=True, text=True
    )
    assert done.returncode != 0
    assert "Matside needs Python 3.11 or 3.12, but found Python 3.9.2." in done.stdout


def test_the_readme_opens_with_the_job_and_two_commands():
    text = (ROOT / "README.md").read_text()
    first = text.split("```sh")[1].split("```")[0]
    assert [line.split("#")[0].strip() for line in first.strip().splitlines()] == ["make demo", "make test"]
    assert text.index("```sh") < 1500

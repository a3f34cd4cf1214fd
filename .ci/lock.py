"""Write requirements.txt and requirements-dev.txt: every package by exact version, as installed in the environment this runs in.

    python .ci/lock.py

The files are installed with `pip install --no-deps`, so that two things can differ from what mediapipe asks for: the
headless OpenCV takes the place of the one that needs libGL, and packages its pose models never import stay away.
"""

from __future__ import annotations

import sys
import tomllib
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent
INSTEAD = {"opencv-contrib-python": "opencv-contrib-python-headless", "opencv-python": "opencv-contrib-python-headless"}
LEFT_OUT = {"jax", "jaxlib", "sounddevice", "sentencepiece"}  # asked for by mediapipe, never imported for poses
ELSEWHERE = {  # where the version in force has no wheel: (version, marker); models and programming interface are the same
    "mediapipe": ("0.10.18", 'sys_platform == "linux" and platform_machine == "aarch64"'),
    "ai-edge-litert": ("1.0.1", 'sys_platform == "darwin" and platform_machine == "x86_64"'),
}
BUILD = ["hatchling", "editables"]  # to install Matside itself without asking for more
PLATFORMS = [("linux", "Linux", "posix"), ("darwin", "Darwin", "posix"), ("win32", "Windows", "nt")]
HEAD = "# Written by .ci/lock.py. Install with:  pip install --no-deps -r {name}\n"


def main() -> int:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    run = closure([*project["dependencies"], *BUILD])
    dev = closure(project["optional-dependencies"]["dev"])
    write("requirements.txt", run)
    write("requirements-dev.txt", {name: line for name, line in dev.items() if name not in run})
    return 0


def closure(roots: list[str]) -> dict[str, str]:
    """{name: "name==version ; marker"} of all that the roots need on any of the platforms."""
    wanted: dict[str, set[str]] = {}
    for sys_platform, system, os_name in PLATFORMS:
        environment = {**default_environment(), "sys_platform": sys_platform, "platform_system": system, "os_name": os_name}
        queue, seen = [Requirement(r) for r in roots], set()
        while queue:
            need = queue.pop()
            name = canonicalize_name(INSTEAD.get(canonicalize_name(need.name), need.name))
            key = (name, *sorted(need.extras))
            if (
                name in LEFT_OUT
                or key in seen
                or (need.marker and not any(need.marker.evaluate({**environment, "extra": e}) for e in ["", *need.extras]))
            ):
                continue
            seen.add(key)
            wanted.setdefault(name, set()).add(sys_platform)
            try:
                needs = distribution(name).requires or []
            except PackageNotFoundError:
                needs = []
            for line in needs:
                below = Requirement(line)
                if below.marker is None or any(below.marker.evaluate({**environment, "extra": e}) for e in ["", *need.extras]):
                    below.marker = None
                    queue.append(below)
    return {name: pinned(name, platforms) for name, platforms in sorted(wanted.items())}


def pinned(name: str, platforms: set[str]) -> str:
    try:
        line = f"{name}=={distribution(name).version.split('+')[0]}"
    except PackageNotFoundError:  # wanted on another system only
        line = name
    if len(platforms) < len(PLATFORMS):
        line += " ; " + " or ".join(f'sys_platform == "{p}"' for p in sorted(platforms))
    if name in ELSEWHERE:
        version, marker = ELSEWHERE[name]
        no = marker.replace(" == ", " != ").replace(" and ", " or ")
        line = f"{line} ; {no}\n{name}=={version} ; {marker}"
    return line


def write(name: str, lines: dict[str, str]) -> None:
    (ROOT / name).write_text(HEAD.format(name=name) + "".join(f"{line}\n" for line in lines.values()))
    print(f"{name}: {len(lines)} packages")


if __name__ == "__main__":
    sys.exit(main())

"""Is this machine fit for the night? Looks and tells; changes nothing and opens no clip."""

from __future__ import annotations

import os
import platform
import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from pipeline.errors import MatsideError

PACKAGES = (
    "numpy", "scipy", "pandas", "pyarrow", "av", "opencv-contrib-python-headless", "ai-edge-litert", "mediapipe", "pydantic", "typer", "rich", "jinja2",
    "matplotlib", "statsmodels", "platformdirs", "filelock", "psutil",
)  # fmt: skip
WITH_LIBGL = ("opencv-contrib-python", "opencv-python")
LEAST_FREE_GB, LEAST_MEMORY_GB, MEMORY_PER_WORKER_GB = 2.0, 2.0, 0.7
LANDMARKS_MB_PER_CLIP_MINUTE = 2.1  # measured on the sample clips, see DEVELOPERS.md


@dataclass(frozen=True)
class Finding:
    """One thing looked at."""

    what: str
    found: str
    fine: bool = True


def examine(out: Path) -> list[Finding]:
    """Everything a run needs, in the order in which it would fail."""
    return [*_python(), *_packages(), *_opencv(), *_models(), *_machine(), *_disk(out), *_not_needed()]


def _python() -> Iterator[Finding]:
    fine = (3, 11) <= sys.version_info < (3, 13)
    yield Finding(
        "Python",
        f"{platform.python_version()} on {platform.system()} {platform.machine()}" + ("" if fine else "; expected 3.11 or 3.12"),
        fine,
    )


def _packages() -> Iterator[Finding]:
    missing, found = [], []
    for name in PACKAGES:
        try:
            found.append(f"{name} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            missing.append(name)
    if missing:
        yield Finding("packages", f"missing: {', '.join(missing)}. Install with: pip install --no-deps -r requirements.txt", False)
    yield Finding("packages", ", ".join(found))


def _opencv() -> Iterator[Finding]:
    """Two OpenCV packages overwrite each other's files; the ones with windows need libGL."""
    others = [name for name in WITH_LIBGL if _installed(name)]
    if others:
        yield Finding(
            "OpenCV",
            f"{', '.join(others)} is installed too. Remove it, then: pip install --no-deps --force-reinstall opencv-contrib-python-headless",
            False,
        )
        return
    try:
        import cv2
    except ImportError as error:
        library = "libGL (Debian: apt install libgl1 libglib2.0-0)" if "libGL" in str(error) or "gthread" in str(error) else str(error)
        yield Finding("OpenCV", f"does not load: {library}", False)
    else:
        yield Finding("OpenCV", f"{cv2.__version__}, loads without a display")


def _installed(name: str) -> bool:
    try:
        metadata.version(name)
    except metadata.PackageNotFoundError:
        return False
    return True


def _models() -> Iterator[Finding]:
    import hashlib

    from pipeline.landmarks import models

    for what, find in (("landmark model", lambda: models.landmark_model().path), ("person detector", models.detector_path)):
        try:
            path = find()
            yield Finding(what, f"{path.name}, sha256 {hashlib.sha256(path.read_bytes()).hexdigest()}")
        except (MatsideError, OSError) as error:
            yield Finding(what, str(error), False)
    for name in models.SHIPPED:
        try:
            model = models.landmark_model(name)
            yield Finding("landmark model", f"{model.path.name} ({name}), sha256 {model.sha256}")
        except MatsideError as error:
            yield Finding("landmark model", str(error), False)
    for what, name, without in (
        ("second look", models.SECOND, "the first model looks twice"),
        ("crowds", models.CROWDS, "athletes in crowded clips are mixed up more often"),
        ("near look", models.NEAR, "nobody looks at holds from near by"),
        ("near look's angles", models.NEAR_ANGLES, "nobody looks at holds from near by"),
        ("look at cartwheels", models.CARTWHEELS, "a cartwheel's knees are read by points alone"),
        ("its angles", models.CARTWHEELS_ANGLES, "a cartwheel's knees are read by points alone"),
    ):
        file = models.HERE / name
        stamp = f"sha256 {hashlib.sha256(file.read_bytes()).hexdigest()}" if file.is_file() else f"not installed: {without}"
        yield Finding(what, f"{file.name}, {stamp}")


def _machine() -> Iterator[Finding]:
    import psutil

    from pipeline.batch.run import cores

    memory = psutil.virtual_memory().total / 1e9
    fits = int(memory / MEMORY_PER_WORKER_GB)
    advice = "" if fits >= cores() else f"; enough for {max(fits, 1)} workers: use --workers {max(fits, 1)}"
    yield Finding("cores", f"{cores()}, one worker each")
    yield Finding("memory", f"{memory:.1f} GB{advice}", memory >= LEAST_MEMORY_GB)


def _disk(out: Path) -> Iterator[Finding]:
    place = next((p for p in (out, *out.absolute().parents) if os.path.exists(p)), Path.cwd())  # what may not be looked into is passed over
    free = shutil.disk_usage(place).free / 1e9
    hours = free * 1000 / LANDMARKS_MB_PER_CLIP_MINUTE / 60
    room = f"room for the landmarks of about {hours:,.0f} hours of clips"
    yield Finding("disk", f"{free:.1f} GB free at {place}: {room}", free >= LEAST_FREE_GB)
    if not (place.is_dir() and os.access(place, os.W_OK)):
        yield Finding("pages", f"{out}: no folder can be made or written there; expected one of your own, give it with --out", False)


def _not_needed() -> Iterator[Finding]:
    yield Finding("not needed", "ffmpeg, a browser, libGL, a graphics card, the network")

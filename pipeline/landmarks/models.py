"""Which model files are used: where they lie, their hashes, and what is built from them once in the user's cache.

The originals come inside the mediapipe wheel (Apache-2.0) and are read without importing mediapipe.
"""

from __future__ import annotations

import hashlib
import importlib.util
import logging
import os
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from pipeline.errors import MatsideError

log = logging.getLogger(__name__)
WHEEL_LANDMARKS = "modules/pose_landmark/pose_landmark_full.tflite"
WHEEL_DETECTOR = "modules/pose_detection/pose_detection.tflite"
HERE = Path(__file__).parent / "models"
# A model shipped with Matside is one line here: its name and its file in models/.
SHIPPED: dict[str, str] = {"tuned": "matside_full.tflite"}
SECOND = "matside_second.tflite"  # another training of the same network, for the second look; an installation may lack it
CROWDS = (
    "matside_crowds.tflite"  # a third one, taught on crowded pictures: follows again where a track is unsure; an installation may lack it
)
NEAR = "matside_near.tflite"  # the small network tuned to look at two frames of each hold from near by; an installation may lack it
NEAR_ANGLES = "matside_near_angles.npz"  # the head that reads angles from its inside; without it the other is not used
CARTWHEELS, CARTWHEELS_ANGLES = "matside_cartwheels.tflite", "matside_cartwheels_angles.npz"  # the same for cartwheels upside down
DETECTOR_IN_TASK, LANDMARKS_IN_TASK = "pose_detector.tflite", "pose_landmarks_detector.tflite"


@dataclass(frozen=True)
class LandmarkModel:
    """A landmark model of the family: 256 x 256 crop in, 39 points with heatmaps out."""

    name: str  # short, for people: "wheel", "tuned", or the file's stem
    path: Path  # the .tflite file
    sha256: str
    head: LandmarkModel | None = None  # what reads more from its inside

    @property
    def key(self) -> str:
        """Short enough for file names, distinct enough for caches."""
        return self.sha256[:12] + (f"-{self.head.sha256[:6]}" if self.head else "")


def landmark_model(choice: str = "wheel") -> LandmarkModel:
    """The model by name ("wheel" or one of SHIPPED) or by path (.tflite, or a .task bundle that contains one)."""
    if choice == "wheel":
        return _entry("wheel", _in_wheel(WHEEL_LANDMARKS))
    if choice in SHIPPED:
        path = HERE / SHIPPED[choice]
        if not path.is_file():
            raise MatsideError(f"{path}: the {choice} landmark model is missing. Install Matside again, or set the model to 'wheel'.")
        return _entry(choice, path)
    path = Path(choice).expanduser()
    if not path.is_file():
        names = ", ".join(["wheel", *SHIPPED])
        raise MatsideError(f"landmark model {choice!r}: expected {names}, or the path of a .tflite or .task file; there is no such file.")
    if path.suffix == ".task":
        path = _from_task(path)
    return _entry(Path(choice).stem, path)


def second_model(first: LandmarkModel, second_look: str) -> LandmarkModel | None:
    """Who looks a second time beside `first`, by the setting "other", "same" or "none".

    The other model marks joint centres as the tuned one does: beside any other it would blur them, and the first looks twice instead;
    so too where its file is not installed, which is said once in the log.
    """
    if second_look == "none":
        return None
    if second_look == "same" or first.name not in SHIPPED:
        return first
    if not (HERE / SECOND).is_file():
        _say_once(f"{HERE / SECOND} is not installed: the {first.name} model takes the second look too, which is a little less exact.")
        return first
    return _entry("second", HERE / SECOND)


def crowd_model(first: LandmarkModel) -> LandmarkModel | None:
    """Who follows a clip again whose track by `first` is unsure (models/CARD_CROWDS.md); nobody beside a model that marks other points, nor where its
    file is not installed, which is said once in the log."""
    if first.name not in SHIPPED:
        return None
    if not (HERE / CROWDS).is_file():
        _say_once(f"{HERE / CROWDS} is not installed: athletes in crowded clips are mixed up with others more often.")
        return None
    return _entry("crowds", HERE / CROWDS)


def near_model(first: LandmarkModel, near_look: bool) -> LandmarkModel | None:
    """Who looks at holds from near by beside `first`, where that is wanted; nobody beside a model that marks other points, nor where a file is not
    installed, which is said once in the log."""
    return _near(first, near_look, "holds", NEAR, NEAR_ANGLES)


def cartwheel_model(first: LandmarkModel, near_look: bool) -> LandmarkModel | None:
    """Who looks at cartwheels from near by, as `near_model` tells it of holds."""
    return _near(first, near_look, "cartwheels", CARTWHEELS, CARTWHEELS_ANGLES)


def _near(first: LandmarkModel, near_look: bool, what: str, network: str, head: str) -> LandmarkModel | None:
    if not near_look or first.name not in SHIPPED:
        return None
    missing = next((HERE / name for name in (network, head) if not (HERE / name).is_file()), None)
    if missing:
        _say_once(f"{missing} is not installed: nobody looks at {what} from near by, and they are read less exactly.")
        return None
    return replace(_entry(f"{what} from near", HERE / network), head=_entry(f"{what}' angles", HERE / head))


def looked_with(choice: str, second_look: str, near_look: bool) -> str:
    """Key of all models that readings come from: those of the track, and those that look from near by where there are any."""
    first = landmark_model(choice)
    near = (near_model(first, near_look), cartwheel_model(first, near_look))
    return "-".join([used(choice, second_look), *(model.key for model in near if model)])


def used(choice: str, second_look: str) -> str:
    """Key of the models that tracks are made with, for caches: the first one's, the second one's where that is another, and that of crowds."""
    first = landmark_model(choice)
    second, crowds = second_model(first, second_look), crowd_model(first)
    key = first.key if second == first else f"{first.key}-{second.key if second else 'once'}"
    return f"{key}-{crowds.key}" if crowds else key


@lru_cache(maxsize=8)
def _say_once(words: str) -> None:
    log.warning(words)


def detector_path() -> Path:
    """The person detector inside the mediapipe wheel."""
    return _in_wheel(WHEEL_DETECTOR)


def fast_file(model: LandmarkModel) -> Path:
    """The model without its silhouette branch (same points, a third less time), built once."""
    from pipeline.landmarks.prune import without_mask

    return _built(f"points-{model.key}.tflite", lambda: without_mask(model.path.read_bytes(), name=str(model.path)))


def inner_file(model: LandmarkModel) -> Path:
    """The fast file with the layer that its heatmaps are made of as one more output, built once."""
    from pipeline.landmarks.prune import without_mask

    return _built(f"inner-{model.key}.tflite", lambda: without_mask(model.path.read_bytes(), name=str(model.path), inner=True))


def task_bundle(model: LandmarkModel) -> Path:
    """A .task file that mediapipe's PoseLandmarker loads: the wheel's detector and this landmark model, with metadata."""
    return _built(f"pose-{model.key}.task", lambda: _bundle(detector_path().read_bytes(), model.path.read_bytes()))


def _bundle(detector: bytes, landmarks: bytes) -> bytes:
    import io

    from mediapipe.tasks.python.metadata.metadata_writers.metadata_writer import MetadataWriter

    def described(content: bytes, mean: float, std: float, name: str) -> bytes:
        writer = MetadataWriter.create(bytearray(content))
        writer.add_general_info(name)
        writer.add_image_input([mean], [std])
        return bytes(writer.populate()[0])

    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as bundle:  # stored: mediapipe maps the parts into memory
        bundle.writestr(DETECTOR_IN_TASK, described(detector, 127.5, 127.5, "pose detector"))
        bundle.writestr(LANDMARKS_IN_TASK, described(landmarks, 0.0, 255.0, "pose landmarks"))
    return out.getvalue()


def _in_wheel(relative: str) -> Path:
    spec = importlib.util.find_spec("mediapipe")  # finds the package without running it
    folder = Path(spec.origin).parent if spec and spec.origin else None
    if folder is None or not (folder / relative).is_file():
        raise MatsideError(
            f"mediapipe with {relative} is not installed. Install Matside's requirements again (mediapipe 0.10.21; later ones carry no models)."
        )
    return folder / relative


def _from_task(path: Path) -> Path:
    try:
        with zipfile.ZipFile(path) as bundle:
            content = bundle.read(LANDMARKS_IN_TASK)
    except (zipfile.BadZipFile, KeyError) as error:
        raise MatsideError(
            f"{path}: not a pose-landmarker bundle (no {LANDMARKS_IN_TASK} inside). Give a .task or .tflite file of the family."
        ) from error
    return _built(f"from-task-{hashlib.sha256(content).hexdigest()[:12]}.tflite", lambda: content)


def _entry(name: str, path: Path) -> LandmarkModel:
    stat = path.stat()
    return LandmarkModel(name, path, _sha256(path, stat.st_size, stat.st_mtime_ns))


@lru_cache(maxsize=16)
def _sha256(path: Path, size: int, mtime: int) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def cache_folder() -> Path:
    """Where built model files are kept: the user's cache, or MATSIDE_CACHE where that is set."""
    import platformdirs

    return Path(os.environ.get("MATSIDE_CACHE") or platformdirs.user_cache_dir("matside", appauthor=False)) / "models"


def _built(name: str, build: Callable[[], bytes]) -> Path:
    """The file of that name in the cache, built first where it is missing. Safe for several processes at once."""
    target = cache_folder() / name
    if target.is_file() and target.stat().st_size:
        return target
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        folder = target.parent
    except OSError:  # a read-only home: build beside the temporary files instead
        folder = Path(tempfile.mkdtemp(prefix="matside-models-"))
        target = folder / name
    handle, part = tempfile.mkstemp(dir=folder, prefix=f".{name}-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(build())
        os.replace(part, target)
    except BaseException:
        Path(part).unlink(missing_ok=True)
        raise
    return target

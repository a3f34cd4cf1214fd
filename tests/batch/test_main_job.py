"""The main job itself, as its user types it, on sample clips: pages out, and no reach for the network on the way."""

import csv
import os
import shutil
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_data" / "clips"
GUARD = ROOT / "tests" / "batch" / "no_network"


@pytest.fixture(scope="module")
def night(tmp_path_factory):
    """Two sample clips measured by the command, with sockets blocked in every process."""
    home = tmp_path_factory.mktemp("night")
    clips = home / "clips"
    clips.mkdir()
    shutil.copy(SAMPLES / "roster.csv", clips)
    for name in ("OT-01_2026-03-02_1.mp4", "OT-02_2026-03-02_1.mp4"):
        shutil.copy(SAMPLES / name, clips)
    environment = {
        **os.environ, "NETWORK_MARK": str(home / "mark"), "PYTHONPATH": os.pathsep.join([str(GUARD), str(ROOT)]), "MATSIDE_CACHE": str(home / "cache"),
    }  # fmt: skip
    command = [sys.executable, "-m", "pipeline.cli", "run", str(clips), "--out", str(home / "out")]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=600)
    return home, done


def test_it_works(night):
    home, done = night
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == f"Pages: {(home / 'out' / 'index.html').resolve()}"
    readings = list(csv.DictReader((home / "out" / "readings.csv").open(encoding="utf-8")))
    assert {row["clip"] for row in readings} == {path.name for path in (home / "clips").glob("*.mp4")}
    assert any(row["value"] and float(row["low"]) <= float(row["value"]) <= float(row["high"]) for row in readings)
    assert all(row["value"] or row["reason"] for row in readings)


def test_nothing_reaches_for_the_network(night):
    home, _ = night
    assert len((home / "mark.alive").read_text().splitlines()) >= 2, "the guard was in force in the command and in its workers"
    assert not (home / "mark").exists(), (home / "mark").read_text()


def test_no_face_is_left_in_any_picture_that_was_written(night):
    """Where a drawn athlete's true nose is, detectors find faces in the clip itself, and none in any picture made of it."""
    from pipeline.clips.video import frames, probe
    from pipeline.reports.motion import line_key, read_motion
    from pipeline.store import Store
    from tests.reports.faces import Detectors, Truth

    home, _ = night
    data = home / "out" / "data"
    faces: dict[str, list[bool]] = {"clip": [], "picture": [], "moving": []}
    with Store(data / "matside.sqlite") as store, Detectors() as detectors:
        for attempt in store.attempts().itertuples():
            truth = Truth(SAMPLES.parent / "truth" / f"{Path(attempt.clip).stem}.csv")
            motion = read_motion(data / "pictures" / f"{attempt.link}.json")
            clip = probe(home / "clips" / attempt.clip)
            for picture in store.pictures(attempt.link):
                t, image = int(Path(picture.file).stem[-6:]) / 1000, cv2.imread(str(data / picture.file))[..., ::-1]
                head, scale = truth.head_in_cut(t, image.shape[1], clip.width, clip.height)
                if len(picture.points) > 1 and np.ptp(picture.points, axis=0).max() > truth.torso:  # a line long enough to tell as well
                    points = dict(zip(motion.lines[line_key(picture.detail, picture.side)], picture.points, strict=True))
                    assert np.hypot(*(truth.head_in(t, points)[0] - head)) < 0.5 * truth.torso * scale
                faces["picture"].append(detectors.face_at(image, head, truth.torso * scale))
            for i, frame in enumerate(frames(data / "pictures" / f"{attempt.link}.mp4")):
                points = {name: places[i] for name, places in motion.points.items() if places[i]}
                if i % 6 == 0 and len(points) > 1:
                    head, scale = truth.head_in(motion.start_s + motion.t[i], points)
                    faces["moving"].append(detectors.face_at(frame.image, head, truth.torso * scale))
            for frame in frames(home / "clips" / attempt.clip):
                if frame.index % 6 == 0 and attempt.start_s <= frame.t <= attempt.end_s:
                    faces["clip"].append(detectors.face_at(frame.image, truth.at(frame.t, "nose"), truth.torso))
    assert len(faces["picture"]) >= 4 and len(faces["moving"]) >= 20
    assert sum(faces["clip"]) >= len(faces["clip"]) / 3, "they know a face when they see one"
    assert sum(faces["picture"]) == sum(faces["moving"]) == 0


def test_the_guard_would_notice(tmp_path):
    environment = {**os.environ, "NETWORK_MARK": str(tmp_path / "mark"), "PYTHONPATH": str(GUARD)}
    code = "import urllib.request; urllib.request.urlopen('http://127.0.0.1:9/')"
    assert subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True).returncode != 0
    assert (tmp_path / "mark").exists()


def test_a_clip_that_breaks_off_is_measured_as_far_as_it_goes(tmp_path):
    """A real sample clip repacked so that it survives being cut: the lunge's hold lies before the break."""
    import av

    from pipeline.batch.process import Task, process_clip
    from pipeline.clips.video import UnreadableClip
    from pipeline.landmarks.settings import LandmarkSettings

    packed = tmp_path / "packed.mkv"
    with av.open(str(SAMPLES / "OT-01_2026-03-02_1.mp4")) as source, av.open(str(packed), "w") as target:
        stream = target.add_stream_from_template(source.streams.video[0])
        for packet in source.demux(source.streams.video[0]):
            if packet.dts is not None:
                packet.stream = stream
                target.mux(packet)
    whole = packed.read_bytes()

    def cut(share):
        clip = tmp_path / f"cut{share}.mkv"
        clip.write_bytes(whole[: int(share * len(whole))])
        return Task(clip.name, clip, f"{share}".ljust(32, "0"), "OT-01", "Otters", "2026-03-02", LandmarkSettings(), tmp_path / "data")

    measured = process_clip(cut(0.75))
    assert measured.status == "measured" and measured.reason.startswith("the clip breaks off after")
    assert 40 < measured.frames < 137
    with pytest.raises(UnreadableClip, match="the clip breaks off"):
        process_clip(cut(0.3))

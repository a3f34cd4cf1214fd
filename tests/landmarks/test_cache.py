"""Tracks on disk: the same back, whole or not at all, and a new key where anything that matters changed."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from pipeline.errors import MatsideError
from pipeline.landmarks import cache
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.track import N, Track


def track(n=5):
    rng = np.random.default_rng(1)
    xy, plane = rng.uniform(0, 1000, (n, N, 2)).astype(np.float32).astype(float), rng.uniform(0, 1, (n, N)).astype(np.float32).astype(float)
    disagreement = plane.copy()
    xy[2:3], disagreement[2:3], disagreement[:1, 5] = np.nan, np.nan, np.nan
    return Track(np.arange(n) / 29.97, xy, plane, plane, np.ones(n), disagreement, (1080, 1920), "OT-01.mp4", ("a note",))


def test_a_track_comes_back_the_same_gaps_and_all(tmp_path):
    before = track()
    cache.write_track(before, tmp_path / "a" / "x.parquet")
    after = cache.read_track(tmp_path / "a" / "x.parquet")
    for name in ("t", "xy", "z", "visibility", "presence", "disagreement"):
        assert_array_equal(getattr(after, name), getattr(before, name), err_msg=name)
    assert (after.size, after.source, after.notes) == (before.size, before.source, before.notes)
    assert not after.seen[2] and after.seen[1]
    assert [f.name for f in (tmp_path / "a").iterdir()] == ["x.parquet"]  # nothing half-written is left


def test_who_else_may_be_the_athlete_comes_back_too(tmp_path):
    others = [replace(track(), xy=track().xy + by, presence=np.full(5, 0.25), notes=()) for by in (50.0, 100.0)]
    before = replace(track(), others=tuple(others))
    cache.write_track(before, tmp_path / "x.parquet")
    after = cache.read_track(tmp_path / "x.parquet", source="another name.mp4")
    assert_array_equal(after.xy, before.xy)
    assert after.notes == ("a note",) and len(after.others) == 2
    for one, other in zip(after.others, others, strict=True):
        for name in ("t", "xy", "z", "visibility", "presence", "disagreement"):
            assert_array_equal(getattr(one, name), getattr(other, name).astype(np.float32 if name != "t" else float), err_msg=name)
        assert (one.size, one.source, one.notes, one.others) == (before.size, "another name.mp4", (), ())
    cache.write_track(track(), tmp_path / "alone.parquet")
    assert cache.read_track(tmp_path / "alone.parquet").others == ()


def test_others_have_the_times_of_the_track_and_nobody_beside_them():
    with pytest.raises(ValueError, match="others must have the track's own times"):
        replace(track(), others=(track(4),))
    with pytest.raises(ValueError, match="no others of their own"):
        replace(track(), others=(replace(track(), others=(track(),)),))


def test_other_libraries_read_gaps_as_null(tmp_path):
    import pyarrow.parquet as pq

    cache.write_track(track(), tmp_path / "x.parquet")
    table = pq.read_table(tmp_path / "x.parquet")
    assert table.column("left_hip_x").null_count == 1
    assert table.column("t").null_count == 0


def test_no_frames_is_a_track_too(tmp_path):
    cache.write_track(track(0), tmp_path / "x.parquet")
    assert len(cache.read_track(tmp_path / "x.parquet")) == 0


def test_the_key_changes_with_clip_model_and_settings_and_with_nothing_else(tmp_path):
    plain = LandmarkSettings()
    files = {
        cache.cache_file("a" * 64, plain, tmp_path),
        cache.cache_file("b" * 64, plain, tmp_path),
        cache.cache_file("a" * 64, LandmarkSettings(find_per_second=5), tmp_path),
    }
    assert len(files) == 3
    assert cache.cache_file("a" * 64, LandmarkSettings(memory_mb=200), tmp_path) in files
    other = tmp_path / "other.tflite"
    other.write_bytes(b"another model")
    assert cache.cache_file("a" * 64, LandmarkSettings(model=str(other)), tmp_path) not in files


def test_a_clip_is_followed_once_and_a_broken_file_makes_it_anew(tmp_path):
    calls = []

    def follow():
        calls.append(1)
        return track()

    arguments = ("c" * 64, LandmarkSettings(), tmp_path / "landmarks")
    first = cache.cached_track(*arguments, source="clip", follow=follow)
    second = cache.cached_track(*arguments, source="clip", follow=follow)
    assert len(calls) == 1
    assert_array_equal(first.xy, second.xy)
    file = next((tmp_path / "landmarks").iterdir())
    file.write_bytes(file.read_bytes()[:200])
    cache.cached_track(*arguments, source="clip", follow=follow)
    assert len(calls) == 2


def test_a_broken_file_is_named(tmp_path):
    (tmp_path / "x.parquet").write_bytes(b"nonsense")
    with pytest.raises(MatsideError, match=r"x\.parquet: not a whole track"):
        cache.read_track(tmp_path / "x.parquet")

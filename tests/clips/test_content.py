"""What a clip holds: the hash that knows it again, and files that cannot be read."""

import pipeline.clips.intake as intake_module
from pipeline.clips.content import ContentHashes, content_hash
from pipeline.clips.intake import FAILED, READY, SKIPPED
from tests.clips.folders import put, taken


def test_the_same_video_twice_is_measured_once_and_said_so(folder, tmp_path):
    put(folder, "OT-01_2026-03-02_1.mp4", b"same")
    put(folder, "OT-01_2026-03-02_2.mp4", b"same")
    put(folder, "OT-01_2026-03-02_3.mp4", b"other")
    got = taken(folder, tmp_path)
    assert [c.status for c in got.values()] == [READY, SKIPPED, READY]
    assert got["OT-01_2026-03-02_2.mp4"].reason == "the same video as OT-01_2026-03-02_1.mp4, which is measured once"


def test_the_hash_is_blake2b_of_the_whole_file(tmp_path):
    # Worked example: BLAKE2b with a 16-byte digest of the empty message and of "abc", from coreutils' b2sum --length 128.
    assert content_hash(put(tmp_path, "empty", b"")) == "cae66941d9efbd404e4d88758ea67670"
    assert content_hash(put(tmp_path, "abc", b"abc")) == "cf4ab791c62b8d2b2109c90275287816"
    big = put(tmp_path, "big", b"x" * 3_000_000)
    before = content_hash(big)
    put(tmp_path, "big", b"x" * 2_999_999 + b"y")
    assert content_hash(big) != before


def test_hashes_are_remembered_until_the_file_changes(tmp_path, monkeypatch):
    path, memory = put(tmp_path, "a.mp4", b"one"), tmp_path / "data" / "contents.json"
    hashes = ContentHashes(memory)
    first = hashes.of("a.mp4", path)
    hashes.save()
    monkeypatch.setattr("pipeline.clips.content.content_hash", lambda _: "read again")
    assert ContentHashes(memory).of("a.mp4", path) == first
    path.write_bytes(b"changed")
    assert ContentHashes(memory).of("a.mp4", path) == "read again"
    memory.write_text("{ broken")
    assert ContentHashes(memory).of("a.mp4", path) == "read again"


def test_a_file_that_cannot_be_read_is_a_failed_row(folder, tmp_path, monkeypatch):
    put(folder, "OT-01_2026-03-02_1.mp4")

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(intake_module.ContentHashes, "of", refuse)
    got = taken(folder, tmp_path)["OT-01_2026-03-02_1.mp4"]
    assert got.status == FAILED and "Permission denied" in got.reason


def test_a_broken_file_without_a_date_is_a_failed_row(folder, tmp_path):
    put(folder, "OT-01/IMG_1.MOV", b"not a video at all")
    got = taken(folder, tmp_path)["OT-01/IMG_1.MOV"]
    assert got.status == FAILED and "not a video" in got.reason

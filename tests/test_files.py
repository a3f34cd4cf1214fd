"""Files that are whole or not there."""

import pytest

from pipeline.files import write_whole


def test_what_cannot_be_written_is_named_as_it_was_meant(tmp_path):
    """Not as the half-written file beside it, which nobody asked for."""
    path = tmp_path / ("a" * 250)  # its own name is just short enough, the other one's is not
    with pytest.raises(OSError) as refused:
        write_whole(path, "x")
    assert refused.value.filename == str(path) and not any(tmp_path.iterdir())


def test_what_was_there_stays_where_the_new_cannot_be_written(tmp_path):
    path = tmp_path / "a.txt"
    write_whole(path, "old")
    with pytest.raises(TypeError):
        write_whole(path, None)
    assert path.read_text() == "old" and [p.name for p in tmp_path.iterdir()] == ["a.txt"]

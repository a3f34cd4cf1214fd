"""A clips folder to fill."""

import pytest

from tests.clips.folders import ROSTER


@pytest.fixture
def folder(tmp_path):
    """An empty clips folder with a roster; OT-01 and HE-02 may be opened, CU-03's consent ran out."""
    clips = tmp_path / "clips"
    clips.mkdir()
    (clips / "roster.csv").write_text(ROSTER)
    return clips

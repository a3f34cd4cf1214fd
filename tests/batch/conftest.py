"""A folder of made-up clips and an output for the nights."""

import pytest

from tests.batch.nights import clips_folder


@pytest.fixture
def folder(tmp_path):
    return clips_folder(tmp_path)


@pytest.fixture
def out(tmp_path):
    return tmp_path / "out"

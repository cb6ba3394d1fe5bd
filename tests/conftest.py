"""Shared fixtures."""

from pathlib import Path

import pytest

SHARED = Path(__file__).parents[2] / "shared" / "data"


@pytest.fixture
def real_log():
    """Path of a real log by name; a test that needs one skips, with the reason, where the folder is missing."""

    def find(name: str) -> Path:
        path = SHARED / name
        if not path.is_file():
            pytest.skip(f"the real log {name} is not laid beside the project (../shared/data)")
        return path

    return find

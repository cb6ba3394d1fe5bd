"""Shared fixtures."""

from pathlib import Path

import pytest

from tuning.pipeline import analyse_folder

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


@pytest.fixture(scope="session")
def demo():
    """The demo building, analysed once for all files that look at it."""
    return analyse_folder(Path(__file__).parents[1] / "demo_logs")


def pytest_collection_modifyitems(items):
    """Put the files that drive a browser first, which take longest: at the end no process waits for another that has just begun one.

    Goes with ``--no-loadscope-reorder``: else the files that hold fewest tests come last, and these are the longest.
    """
    long = {item.path for item in items if item.get_closest_marker("browser")}
    items.sort(key=lambda item: item.path not in long)

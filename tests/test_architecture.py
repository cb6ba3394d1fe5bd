"""What must hold of the tree as a whole."""

import ast
import re
import subprocess
from pathlib import Path

import pytest

from tuning.cli import app
from tuning.site import Building, Channel, LogLayout, Room, SettingsChange, SpotReading

ROOT = Path(__file__).parents[1]
REGISTRY = re.compile(r"p[y]pi[.]org|p[y]thonhosted|registry[.]npm|deb[.]deb")


def imports_of(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module.split(".")[0]


@pytest.mark.parametrize("path", sorted((ROOT / "tuning").rglob("*.py")), ids=lambda p: str(p.relative_to(ROOT)))
def test_the_library_neither_draws_nor_serves(path):
    forbidden = {"dash", "plotly", "flask"} | (set() if path.name == "cli.py" else {"dashboard"})

    assert not forbidden & set(imports_of(path))


SIMULATORS = [p for name in ("simulation", "second_simulation") for p in sorted((ROOT / "tests" / name).rglob("*.py"))]


@pytest.mark.parametrize("path", SIMULATORS, ids=lambda p: f"{p.parent.name}/{p.name}")
def test_the_simulator_shares_nothing_with_the_estimator(path):
    assert "tuning" not in set(imports_of(path))


def tracked():
    listing = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout
    return [ROOT / line for line in listing.splitlines()] or [p for p in ROOT.glob("*") if p.is_file()]


def test_no_file_holds_the_address_of_a_package_registry():
    texts = [p for p in tracked() if p.suffix in (".py", ".md", ".toml", ".lock", ".css", ".js", "") and p.is_file()]

    assert texts
    for path in texts:
        assert not REGISTRY.search(path.read_text(encoding="utf-8", errors="replace")), path


def test_every_command_and_every_key_stands_in_the_readme():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for command in app.registered_commands:
        assert f"holdoff {command.name or command.callback.__name__}" in readme
    for model in (Building, Room, Channel, SettingsChange, SpotReading, LogLayout):
        for name, field in model.model_fields.items():
            assert (field.alias or name) in readme, f"{model.__name__}.{name}"


@pytest.mark.parametrize("name", ["README.md", "demo_logs/README.md"])
def test_the_documents_do_not_promise_real_places(name):
    assert "invented" in (ROOT / name).read_text(encoding="utf-8")


def test_the_readme_carries_the_cautions():
    readme = " ".join((ROOT / "README.md").read_text(encoding="utf-8").replace(">", " ").split())

    for words in (
        "authorised people",
        "licensed electricians",
        "proven dead",
        "Emergency and escape lighting",
        "Local codes prevail",
    ):
        assert words in readme

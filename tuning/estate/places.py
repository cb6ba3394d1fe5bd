"""A root → the buildings under it. A building is a folder with a ``site.toml``; what lies below belongs to it.

A root is a folder, or the URL of a prefix in an object store. Every store that fsspec knows is read (``file://``, and with the store's own
package ``s3://``, ``gs://``, ``abfs://`` and more); the files of a building are fetched whole by whoever analyses it. Partitions are folders:
``building=NAME/`` with its ``site.toml`` and Parquet files, themselves partitioned or not.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from tuning import __version__
from tuning.errors import FolderError, TuningError

SITE_FILE = "site.toml"
PARTITION = "building="
"""How the folder of a partition begins; the rest is the building's name."""


@dataclass(frozen=True)
class File:
    """A file of a building: its place in it, its size [B], and what changes when its content does (time of writing, or a store's tag)."""

    path: str
    size: int
    stamp: str


@dataclass(frozen=True)
class Building:
    """A building of an estate.

    Attributes
    ----------
    name
        Its place under the root, without ``building=``.
    place
        Its folder, or its URL.
    files
        All files in it, sorted.
    """

    name: str
    place: str
    files: tuple[File, ...]

    @property
    def size(self) -> int:
        """Bytes of all files."""
        return sum(f.size for f in self.files)

    @property
    def fingerprint(self) -> str:
        """Changes when a file comes, goes or changes, or with the version of this program."""
        told = json.dumps([__version__, *((f.path, f.size, f.stamp) for f in self.files)])
        return hashlib.sha256(told.encode()).hexdigest()


def is_url(root: str) -> bool:
    """Whether a root is a URL, not a folder."""
    return "://" in root


def find_buildings(root: str) -> list[Building]:
    """Find all buildings under a root, sorted by name.

    Raises
    ------
    TuningError
        If the root is not there, holds no building, or the package that reads its kind of store is missing.
    """
    found = _in_store(root) if is_url(root) else _in_folder(Path(root))
    if not found:
        raise FolderError(
            Path(root), f"no building under this root: no folder in it has a {SITE_FILE}", "Give the folder above them"
        )
    names: dict[str, str] = {}
    for b in found:
        other = names.setdefault(b.name, b.place)
        if other != b.place:
            raise TuningError(f"{b.place} and {other} are both called {b.name!r}. A name stands once. Rename a folder.")
    return sorted(found, key=lambda b: b.name)


def _named(relative: str, root: str) -> str:
    parts = [part.removeprefix(PARTITION) for part in PurePosixPath(relative).parts]
    return "/".join(parts) or PurePosixPath(root.rstrip("/")).name or "building"


def _in_folder(root: Path) -> list[Building]:
    if not root.is_dir():
        raise FolderError(root, "no such folder", "Give the folder that holds the buildings")
    found, within = [], root.resolve()
    for top, folders, files in os.walk(within):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        if SITE_FILE in files:
            folder = Path(top)
            folders.clear()
            found.append(Building(_named(folder.relative_to(within).as_posix(), str(within)), top, _files_of(folder)))
    return found


def _files_of(folder: Path) -> tuple[File, ...]:
    found = []
    for path in sorted(folder.rglob("*")):
        relative = path.relative_to(folder)
        if not any(part.startswith(".") for part in relative.parts) and path.is_file():
            held = path.stat()
            found.append(File(relative.as_posix(), held.st_size, str(held.st_mtime_ns)))
    return tuple(found)


def _opened(url: str) -> tuple[Any, str]:
    try:
        from fsspec.core import url_to_fs  # noqa: PLC0415  an extra
    except ImportError as error:
        raise TuningError(
            f"{url}: URLs are read with fsspec, which is not installed. It comes with an extra. Run: pip install 'holdoff[cluster]'"
        ) from error
    try:
        store, path = url_to_fs(url)
    except (ValueError, ImportError) as error:
        raise TuningError(
            f"{url}: {error}. The scheme must be one that fsspec knows. Install that store's package."
        ) from error
    return store, str(path).rstrip("/")


def _in_store(url: str) -> list[Building]:
    store, root = _opened(url)
    if not store.isdir(root):
        raise TuningError(f"{url}: no such prefix. An estate is a prefix with buildings under it. Mend the URL.")
    store.invalidate_cache()
    listed: dict[str, dict[str, Any]] = store.find(root, detail=True)
    relative = {path: PurePosixPath(path).relative_to(root) for path in listed}
    sites = {r.parent for r in relative.values() if r.name == SITE_FILE}
    tops = {s for s in sites if not any(above in sites for above in s.parents)}
    files: dict[PurePosixPath, list[File]] = defaultdict(list)
    for path, r in relative.items():
        top = next((t for t in (*reversed(r.parents),) if t in tops), None)
        if top is not None and not any(part.startswith(".") for part in r.parts):
            files[top].append(File(r.relative_to(top).as_posix(), int(listed[path]["size"] or 0), _stamp(listed[path])))
    base = url.rstrip("/")
    return [
        Building(
            _named(top.as_posix(), root),
            base if top == PurePosixPath() else f"{base}/{top.as_posix()}",
            tuple(sorted(held, key=lambda f: f.path)),
        )
        for top, held in files.items()
    ]


STAMPS = ("ETag", "etag", "md5Hash", "content_settings", "mtime", "LastModified", "last_modified", "updated", "created")
"""What stores call that which changes with a file's content, the surest first."""


def _stamp(info: dict[str, Any]) -> str:
    return next((str(info[key]) for key in STAMPS if info.get(key)), "")


@contextmanager
def at_hand(building: Building) -> Iterator[Path]:
    """Give the building's folder; one in a store is fetched for as long."""
    if not is_url(building.place):
        yield Path(building.place)
        return
    store, root = _opened(building.place)
    with tempfile.TemporaryDirectory(prefix="holdoff-") as scratch:
        for file in building.files:
            target = Path(scratch) / file.path
            target.parent.mkdir(parents=True, exist_ok=True)
            store.get_file(f"{root}/{file.path}", str(target))
        yield Path(scratch)

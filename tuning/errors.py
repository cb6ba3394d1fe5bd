"""What can go wrong with what people give us, as exceptions.

    TuningError               anything a person can mend; its text is one line
    ├── SiteError             site.toml: a key is missing, wrong or unknown
    ├── LogError              a log file: a row, a column, the file itself
    └── FolderError           the building folder as a whole
        └── NoLogError        there is no log in it

Every text says what was found and where, the rule, and what to do, in that order. The
command line prints it as one line and ends with exit status 1; a page shows it as an alert.
Anything else that is raised is a defect of the program.
"""

from __future__ import annotations

from pathlib import Path


class TuningError(ValueError):
    """The input has a problem that a person can mend."""

    def __init__(self, text: str) -> None:
        # File and column names come from outside: a line break or an escape sequence in one must not reach a terminal.
        super().__init__("".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text))


class SiteError(TuningError):
    """A key of ``site.toml`` is missing, wrong or unknown."""

    def __init__(self, path: Path, key: str, found: str, rule: str, remedy: str) -> None:
        self.path, self.key = path, key
        super().__init__(f"{path.name}, {key}: {found}. {rule}. {remedy}.")


class LogError(TuningError):
    """A log file cannot be read as what it is said to be.

    Parameters
    ----------
    path
        The file.
    where
        Row and column as a person finds them ("row 812, column value"), or "" for the whole file.
    found, rule, remedy
        Three sentences without their full stops.
    """

    def __init__(self, path: Path, where: str, found: str, rule: str, remedy: str) -> None:
        self.path, self.where = path, where
        place = f"{path.name}, {where}" if where else path.name
        super().__init__(f"{place}: {found}. {rule}. {remedy}.")


class FolderError(TuningError):
    """The building folder holds nothing that can be used."""

    def __init__(self, path: Path, found: str, remedy: str) -> None:
        self.path = path
        super().__init__(f"{path}: {found}. {remedy}.")


class NoLogError(FolderError):
    """The building folder holds no log at all."""

"""What a workspace may refuse.

WorkspaceError
├── NotThereError       no such building, room, channel, analysis, file
├── WrongValueError     a value that site.toml would not take, either
├── ConflictError       somebody else was faster
├── OutdatedError       the analysis is no longer that of the present logs and facts
├── ReasonNeededError   a setting below the safety floor or beyond the code limit, without a reason
└── RefusedError        what the workspace does not do, and why
"""

from __future__ import annotations

from collections.abc import Sequence

from tuning.errors import TuningError


class WorkspaceError(TuningError):
    """Base of all of them; the text is for people."""


class NotThereError(WorkspaceError):
    """Something that was named does not exist."""

    def __init__(self, kind: str, name: object) -> None:
        super().__init__(f"There is no {kind} {name!s} here. It may have been removed; go back to the list.")


class WrongValueError(WorkspaceError):
    """A value does not fit its place.

    Attributes
    ----------
    path
        Where, as keys from the top of ``site.toml``.
    """

    def __init__(self, path: Sequence[str | int], rule: str) -> None:
        self.path, self.rule = tuple(path), rule
        super().__init__(f"{'.'.join(map(str, path)) or 'site'}: {rule}.")


class ConflictError(WorkspaceError):
    """Somebody else decided or edited between the page's loading and the click.

    Attributes
    ----------
    what
        One sentence for each thing that was changed meanwhile.
    """

    def __init__(self, what: Sequence[str]) -> None:
        self.what = tuple(what)
        super().__init__(f"Nothing was saved, because somebody was faster: {' '.join(what)} Look again, then decide.")


class OutdatedError(WorkspaceError):
    """A decision rests on an analysis that is outdated.

    Attributes
    ----------
    changes
        One phrase for each thing that has changed since.
    """

    def __init__(self, changes: Sequence[str]) -> None:
        self.changes = tuple(changes)
        super().__init__(
            f"Nothing was saved, because the analysis is outdated. Since then: {'; '.join(changes)}. Analyse again, then decide."
        )


class ReasonNeededError(WorkspaceError):
    """A setting beyond the floor or the limit needs a reason.

    Attributes
    ----------
    what
        One phrase for each setting.
    """

    def __init__(self, what: Sequence[str]) -> None:
        self.what = tuple(what)
        super().__init__(f"Nothing was saved: {'; '.join(what)}. Give a reason, or choose another setting.")


class RefusedError(WorkspaceError):
    """Something that cannot be done now, in one line that says why."""

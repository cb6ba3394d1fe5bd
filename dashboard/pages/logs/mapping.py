"""What is in the files: proposed, corrected, checked live, written."""

from __future__ import annotations

import dash

from dashboard.workspace import Workspace


def register(_app: dash.Dash, _ws: Workspace) -> None:
    """Tie the step to a workspace."""

"""What is kept on disk between two visits: logs, analyses, and everything people say and decide.

``space`` opens a workspace; ``buildings`` keeps facts with their history, ``uploads`` takes files in, ``analyses`` keeps results, ``decisions`` and
``verdicts`` what people say of them; ``jobs`` and ``worker`` do the long work in a process of its own.
"""

from dashboard.workspace.space import Workspace, is_workspace

__all__ = ["Workspace", "is_workspace"]

"""Called by Alembic with the connection that the program has opened."""

from __future__ import annotations

from typing import Any, Literal

from alembic import context

from dashboard.workspace.tables import Base, UtcTime


def _plain(kind: str, item: Any, _context: Any) -> str | Literal[False]:
    # A migration must not change its meaning when our types do.
    return "sa.DateTime()" if kind == "type" and isinstance(item, UtcTime) else False


context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,
    transactional_ddl=True,
    render_item=_plain,
)
with context.begin_transaction():
    context.run_migrations()

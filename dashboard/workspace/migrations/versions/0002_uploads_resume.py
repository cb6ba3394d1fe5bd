"""Uploads resume."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the tables forward."""
    with op.batch_alter_table("file") as table:
        table.add_column(sa.Column("stored", sa.String(), nullable=True))
    op.execute("UPDATE file SET stored = 'log-' || id || suffix")
    with op.batch_alter_table("file") as table:
        table.alter_column("stored", existing_type=sa.String(), nullable=False)
        table.create_unique_constraint(op.f("uq_file_stored"), ["stored"])
        table.drop_column("suffix")
    with op.batch_alter_table("upload") as table:
        table.add_column(sa.Column("modified", sa.Integer(), server_default="0", nullable=False))
        table.add_column(sa.Column("received", sa.Integer(), server_default="0", nullable=False))

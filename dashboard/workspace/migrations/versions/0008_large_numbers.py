"""Sizes beyond 2 GiB and times in nanoseconds, where the database keeps to a type; which workspace a database belongs to."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the tables forward."""
    op.create_table(
        "workspace",
        sa.Column("id", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_workspace")),
    )
    with op.batch_alter_table("file") as table:
        table.alter_column("size", existing_type=sa.Integer(), type_=sa.BigInteger(), existing_nullable=False)
    with op.batch_alter_table("upload") as table:
        table.alter_column("size", existing_type=sa.Integer(), type_=sa.BigInteger(), existing_nullable=False)
        for name in ("modified", "received"):
            table.alter_column(
                name,
                existing_type=sa.Integer(),
                type_=sa.BigInteger(),
                existing_nullable=False,
                existing_server_default="0",
            )

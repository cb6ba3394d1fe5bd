"""Tokens that hold once: links to choose a password, and log-ins by a provider that are under way."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the tables forward."""
    op.create_table(
        "one_time",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("account", sa.Integer(), nullable=True),
        sa.Column("data", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["account"], ["account.id"], name=op.f("fk_one_time_account_account")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_one_time")),
    )
    op.create_index("ix_one_time_account", "one_time", ["account"])

"""Results of old analyses may be let go."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the tables forward."""
    with op.batch_alter_table("analysis") as table:
        table.add_column(sa.Column("pruned_at", sa.DateTime(), nullable=True))
        table.add_column(sa.Column("pruned_by", sa.String(), nullable=True))

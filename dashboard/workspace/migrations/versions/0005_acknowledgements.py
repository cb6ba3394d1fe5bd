"""What has drifted is acknowledged."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the tables forward."""
    op.create_table(
        "acknowledgement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("building", sa.String(), nullable=False),
        sa.Column("room", sa.String(), nullable=False),
        sa.Column("channel", sa.String(), nullable=False),
        sa.Column("statistic", sa.String(), nullable=False),
        sa.Column("evidence", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("analysis", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("superseded_at", sa.DateTime(), nullable=True),
        sa.Column("undone_at", sa.DateTime(), nullable=True),
        sa.Column("undone_by", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["analysis"], ["analysis.id"], name=op.f("fk_acknowledgement_analysis_analysis")),
        sa.ForeignKeyConstraint(["building"], ["building.id"], name=op.f("fk_acknowledgement_building_building")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_acknowledgement")),
    )
    op.create_index("ix_acknowledgement_room", "acknowledgement", ["building", "room"])
    op.create_index(
        "uq_acknowledgement_standing",
        "acknowledgement",
        ["building", "room", "channel", "statistic"],
        unique=True,
        sqlite_where=sa.text("undone_at IS NULL AND superseded_at IS NULL"),
        postgresql_where=sa.text("undone_at IS NULL AND superseded_at IS NULL"),
    )

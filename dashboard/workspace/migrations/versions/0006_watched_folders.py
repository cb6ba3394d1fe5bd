"""New logs are taken from a watched folder."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the tables forward."""
    op.create_table(
        "watched_folder",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("building", sa.String(), nullable=False),
        sa.Column("path", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.Column("ended_by", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["building"], ["building.id"], name=op.f("fk_watched_folder_building_building")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_watched_folder")),
    )
    op.create_index(
        "uq_watched_folder_standing",
        "watched_folder",
        ["building"],
        unique=True,
        sqlite_where=sa.text("ended_at IS NULL"),
        postgresql_where=sa.text("ended_at IS NULL"),
    )
    op.create_table(
        "arrival",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("building", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("modified", sa.BigInteger(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("file", sa.Integer(), nullable=True),
        sa.Column("problem", sa.String(), nullable=True),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("asked_at", sa.DateTime(), nullable=True),
        sa.Column("gone_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["building"], ["building.id"], name=op.f("fk_arrival_building_building")),
        sa.ForeignKeyConstraint(["file"], ["file.id"], name=op.f("fk_arrival_file_file")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_arrival")),
    )
    op.create_index("uq_arrival_content", "arrival", ["building", "sha256"], unique=True)

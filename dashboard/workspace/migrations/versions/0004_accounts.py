"""Accounts, their roles, sessions and attempts to log in; the audit log, which triggers keep from being changed."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

REFUSAL = "the audit log is only added to"


def upgrade() -> None:
    """Bring the tables forward."""
    op.create_table(
        "account",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("folded", sa.String(), nullable=False),
        sa.Column("password", sa.String(), nullable=True),
        sa.Column("subject", sa.String(), nullable=True),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("disabled_at", sa.DateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_account")),
        sa.UniqueConstraint("folded", name=op.f("uq_account_folded")),
        sa.UniqueConstraint("subject", name=op.f("uq_account_subject")),
    )
    op.create_table(
        "account_role",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account", sa.Integer(), nullable=False),
        sa.Column("building", sa.String(), server_default="", nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["account"], ["account.id"], name=op.f("fk_account_role_account_account")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_account_role")),
        sa.UniqueConstraint("account", "building", name="uq_account_role_account"),
    )
    op.create_index(op.f("ix_account_role_account"), "account_role", ["account"])
    op.create_table(
        "login_session",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("account", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("expires_at", sa.DateTime(), nullable=False),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["account"], ["account.id"], name=op.f("fk_login_session_account_account")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_login_session")),
    )
    op.create_index(op.f("ix_login_session_account"), "login_session", ["account"])
    op.create_table(
        "login_attempt",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("passed", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_login_attempt")),
    )
    op.create_index("ix_login_attempt_name", "login_attempt", ["name", "at"])
    op.create_index("ix_login_attempt_address", "login_attempt", ["address", "at"])
    op.create_table(
        "audit",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("signed", sa.String(), nullable=False),
        sa.Column("action", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("building", sa.String(), nullable=False),
        sa.Column("details", sa.Text(), nullable=False),
        sa.Column("previous", sa.String(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_audit")),
        sa.UniqueConstraint("hash", name=op.f("uq_audit_hash")),
        sa.UniqueConstraint("previous", name=op.f("uq_audit_previous")),
    )
    op.create_index(op.f("ix_audit_building"), "audit", ["building"])
    _only_added_to()


def _only_added_to() -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "CREATE FUNCTION audit_only_added_to() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$"
        )
        op.execute(
            "CREATE TRIGGER audit_only_added_to BEFORE UPDATE OR DELETE OR TRUNCATE ON audit "
            "FOR EACH STATEMENT EXECUTE FUNCTION audit_only_added_to()"
        )
        return
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER audit_no_{verb.lower()} BEFORE {verb} ON audit BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
        )
    # An entry that is written over in place is no update for SQLite, but an insert.
    op.execute(
        "CREATE TRIGGER audit_no_replace BEFORE INSERT ON audit WHEN EXISTS (SELECT 1 FROM audit WHERE number = NEW.number "
        f"OR hash = NEW.hash OR previous = NEW.previous) BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
    )

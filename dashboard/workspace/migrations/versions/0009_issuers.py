"""Who a provider's person is: a subject is one person's with one issuer only (OpenID Connect Core 1.0, section 5.7).

Accounts that were tied before have no issuer: they take that of the next good log-in, so that nobody is locked out.
"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the tables forward."""
    with op.batch_alter_table("account") as table:
        table.add_column(sa.Column("issuer", sa.String(), nullable=True))
        table.drop_constraint("uq_account_subject", type_="unique")
        table.create_unique_constraint("uq_account_issuer", ["issuer", "subject"])
    # Without an issuer a subject may turn out to be anybody's, so that it is one account's only.
    where = sa.text("issuer IS NULL")
    op.create_index(
        "uq_account_subject", "account", ["subject"], unique=True, sqlite_where=where, postgresql_where=where
    )

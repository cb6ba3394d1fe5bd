"""Tables of accounts, their roles, sessions and attempts to log in, and of the audit log.

The audit log is only ever added to: triggers of the database refuse anything else (see its migration).
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from sqlalchemy import ForeignKey, Index, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from dashboard.workspace.tables import Base, one_standing


class AccountRow(Base):
    """A person's account. ``password`` is an argon2 hash, ``None`` where only a provider vouches; ``subject`` is the provider's name for it.

    ``issuer`` is that provider; ``None`` where it is not known yet, and taken from the next good log-in.
    """

    __tablename__ = "account"
    __table_args__ = (
        UniqueConstraint("issuer", "subject", name="uq_account_issuer"),
        one_standing("uq_account_subject", "subject", where="issuer IS NULL"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    folded: Mapped[str] = mapped_column(unique=True)
    """The name without case, so that no two accounts look alike."""
    password: Mapped[str | None]
    subject: Mapped[str | None]
    issuer: Mapped[str | None]
    created_at: Mapped[dt.datetime]
    disabled_at: Mapped[dt.datetime | None]


class RoleRow(Base):
    """A role of an account; on every building where ``building`` is empty."""

    __tablename__ = "account_role"
    __table_args__ = (UniqueConstraint("account", "building", name="uq_account_role_account"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    account: Mapped[int] = mapped_column(ForeignKey("account.id"), index=True)
    building: Mapped[str] = mapped_column(server_default="")
    role: Mapped[str]


class SessionRow(Base):
    """A log-in that goes on. ``id`` is the sum of its token, which only the browser has."""

    __tablename__ = "login_session"
    id: Mapped[str] = mapped_column(primary_key=True)
    account: Mapped[int] = mapped_column(ForeignKey("account.id"), index=True)
    created_at: Mapped[dt.datetime]
    expires_at: Mapped[dt.datetime]
    ended_at: Mapped[dt.datetime | None]


class AttemptRow(Base):
    """Somebody tried to log in: under a name, sum of which stands here whether there is such an account or not, from an address."""

    __tablename__ = "login_attempt"
    __table_args__ = (
        Index("ix_login_attempt_name", "name", "at"),
        Index("ix_login_attempt_address", "address", "at"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    address: Mapped[str]
    at: Mapped[dt.datetime]
    passed: Mapped[bool]


class OneTimeRow(Base):
    """A token that holds once, see `one_time`. ``id`` is its sum."""

    __tablename__ = "one_time"
    id: Mapped[str] = mapped_column(primary_key=True)
    kind: Mapped[str]
    account: Mapped[int | None] = mapped_column(ForeignKey("account.id"), index=True)
    data: Mapped[dict[str, Any]]
    expires_at: Mapped[dt.datetime]


class AuditRow(Base):
    """Who did what. ``hash`` is over everything in the entry and over the hash before it, so that a change anywhere shows."""

    __tablename__ = "audit"
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[dt.datetime]
    who: Mapped[str]
    signed: Mapped[str]
    """``account``: logged in. ``said``: a name that was typed in. ``program``: nobody in person."""
    action: Mapped[str]
    kind: Mapped[str]
    key: Mapped[str]
    building: Mapped[str] = mapped_column(index=True)
    details: Mapped[str] = mapped_column(Text())
    previous: Mapped[str] = mapped_column(unique=True)
    hash: Mapped[str] = mapped_column(unique=True)


PRIVATE: frozenset[type[Base]] = frozenset({AccountRow, RoleRow, SessionRow, AttemptRow, OneTimeRow, AuditRow})
"""What nobody reads or writes through a page's own request, only the program for them."""

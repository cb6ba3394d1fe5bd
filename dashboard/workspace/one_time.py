"""Tokens that hold once and not for long. Kept is only their sum; one that was used, or is too old, is gone."""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from dashboard.workspace.access_tables import OneTimeRow
from dashboard.workspace.errors import RefusedError
from dashboard.workspace.space import now

Kind = Literal["password", "provider"]
MOST = 1000
"""Tokens of a kind that hold at a time: who has not logged in can have some made. Chosen by us."""


@dataclass(frozen=True)
class Taken:
    """What was kept with a token."""

    account: int | None
    data: dict[str, Any]


def make(
    session: Session, kind: Kind, *, lasts: dt.timedelta, account: int | None = None, data: dict[str, Any] | None = None
) -> str:
    """Return a new token; of those that hold for an account, it is the only one.

    Raises
    ------
    RefusedError
        If too many hold already.
    """
    session.execute(delete(OneTimeRow).where(OneTimeRow.expires_at <= now()))
    if account is not None:
        session.execute(delete(OneTimeRow).where(OneTimeRow.kind == kind, OneTimeRow.account == account))
    if (session.scalar(select(func.count()).where(OneTimeRow.kind == kind)) or 0) >= MOST:
        raise RefusedError("Too many are logging in at once. Try again in ten minutes.")
    token = secrets.token_urlsafe(32)
    session.add(
        OneTimeRow(id=sum_of(token), kind=kind, account=account, data=data or {}, expires_at=now() + lasts)
    )  # fmt: skip
    return token


def look(session: Session, kind: Kind, token: str) -> Taken | None:
    """Return what a token holds, which goes on holding; ``None`` where it does not hold."""
    row = _row(session, kind, token)
    return None if row is None else Taken(row.account, row.data)


def take(session: Session, kind: Kind, token: str) -> Taken | None:
    """Return what a token held; it never does again. Whoever else takes it at the same time gets ``None``."""
    row = _row(session, kind, token)
    if row is None or session.execute(delete(OneTimeRow).where(OneTimeRow.id == row.id)).rowcount != 1:  # type: ignore[attr-defined]
        return None
    return Taken(row.account, row.data)


def _row(session: Session, kind: Kind, token: str) -> OneTimeRow | None:
    row = session.get(OneTimeRow, sum_of(token))
    return None if row is None or row.kind != kind or row.expires_at <= now() else row


def sum_of(token: str) -> str:
    """What is kept of a token."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()

"""Logging in and out: attempts are counted, sessions are kept in the database, end by themselves and can be ended."""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import secrets
from dataclasses import dataclass
from typing import Final

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from dashboard.workspace import accounts, audit
from dashboard.workspace.access_tables import AccountRow, AttemptRow, SessionRow
from dashboard.workspace.actors import Actor, acting
from dashboard.workspace.space import Workspace, now

KEPT: Final = dt.timedelta(days=1)
"""Attempts are kept so long."""


class WaitError(Exception):
    """Too many attempts; ``seconds`` until one is taken again."""

    def __init__(self, seconds: int) -> None:
        self.seconds = seconds
        super().__init__(f"Too many attempts. Wait {-(-seconds // 60)} minutes, then try again.")


@dataclass(frozen=True)
class Opened:
    """A new session: what the browser gets, and nobody else."""

    token: str
    expires_at: dt.datetime


@dataclass(frozen=True)
class Known:
    """A request of somebody who is logged in."""

    actor: Actor
    proof: str
    expires_at: dt.datetime

    def is_own(self, proof: str | None) -> bool:
        """Whether a request comes from our own pages: it carries what no page from elsewhere can read."""
        return hmac.compare_digest((proof or "").encode(), self.proof.encode())


def proof_of(token: str) -> str:
    """What our own pages send along with every change, so that no page from elsewhere has one made: derived from the session's token."""
    return _sum(f"own page {token}")


def log_in(ws: Workspace, name: str, password: str, *, address: str, before: str | None = None) -> Opened | None:
    """Begin a session; ``None`` where name and password do not go together, for whatever reason.

    Parameters
    ----------
    address
        Of the one who asks, to count attempts by.
    before
        Token of a session that the browser still has: it ends.

    Raises
    ------
    WaitError
        If there were too many attempts under this name, or from this address.
    """
    with acting(None):
        # Counted before the password is looked at, so that attempts at the same time are counted, too.
        attempt = _count(ws, name, address)
        with ws.reading() as session:
            row = accounts.row_named(session, name)
            number, kept = (None, None) if row is None else (row.id, row.password)
        right = accounts.matches(kept, password[: accounts.LONGEST + 1])
        if not right or number is None:
            with ws.writing() as session:
                # A name that nobody has may be a password, typed into the wrong field.
                audit.note(
                    session, action="log-in refused", kind="account", key="" if number is None else str(number),
                    details={"address": address},
                )  # fmt: skip
            return None
        with ws.writing() as session:
            passed = session.get(AttemptRow, attempt)
            if passed is not None:
                passed.passed = True
            return open_for(session, number, lasts=ws.limits.log_in.lasts, address=address, before=before)


def open_for(
    session: Session, account: int, *, lasts: dt.timedelta, address: str, before: str | None = None
) -> Opened | None:
    """Begin a session of an account whose owner has proven to be it; ``None`` where it was disabled meanwhile."""
    row = session.get(AccountRow, account)
    if row is None or row.disabled_at is not None:
        return None
    _end(session, before)
    made = Opened(secrets.token_urlsafe(32), now() + lasts)
    session.add(SessionRow(id=_sum(made.token), account=account, created_at=now(), expires_at=made.expires_at))
    session.execute(delete(SessionRow).where(SessionRow.expires_at < now() - KEPT))
    audit.note(
        session, action="logged in", kind="account", key=str(account), details={"address": address}, account=row.name
    )
    return made


def find(ws: Workspace, token: str | None, *, reads_only: bool) -> Known | None:
    """Return who a request comes from; ``None`` where nobody is logged in with this token."""
    if not token:
        return None
    with acting(None), ws.reading() as session:
        row = session.get(SessionRow, _sum(token))
        if row is None or row.ended_at is not None or row.expires_at <= now():
            return None
        account = session.get(AccountRow, row.account)
        if account is None or account.disabled_at is not None:
            return None
        who = accounts.actor_of(session, account, reads_only=reads_only)
        return Known(who, proof_of(token), row.expires_at)


def find_again(ws: Workspace, mark: str, token: str | None, *, reads_only: bool) -> Known | None:
    """As :func:`find`, without reading anew what cannot have changed.

    Parameters
    ----------
    mark
        Of the database (`dashboard.workspace.marks`), taken in the same request.
    """
    if not token:
        return None
    name = ("session", _sum(token), reads_only)
    found = ws.marks.kept(mark, name, lambda: find(ws, token, reads_only=reads_only))
    # Time runs where nothing is written, too.
    return None if found is None or found.expires_at <= now() else found


def log_out(ws: Workspace, token: str | None) -> None:
    """End a session."""
    with acting(None), ws.writing() as session:
        _end(session, token)


def change_password(ws: Workspace, who: Actor, old: str, new: str, *, address: str) -> Opened | None:
    """Change one's own password; every session ends, and a new one begins. ``None`` where the old one is not right.

    Raises
    ------
    RefusedError
        If the new one is too weak.
    WaitError
        If there were too many attempts.
    """
    with acting(None):
        attempt = _count(ws, who.name, address)
        with ws.reading() as session:
            row = session.get(AccountRow, who.account)
            kept = None if row is None else row.password
        if not accounts.matches(kept, old[: accounts.LONGEST + 1]):
            return None
        accounts.set_password(ws, who.name, new, by=who.name)
        with ws.writing() as session:
            passed = session.get(AttemptRow, attempt)
            if passed is not None:
                passed.passed = True
            return open_for(session, who.account, lasts=ws.limits.log_in.lasts, address=address)


def _end(session: Session, token: str | None) -> None:
    row = session.get(SessionRow, _sum(token)) if token else None
    if row is not None and row.ended_at is None:
        row.ended_at = now()
        account = session.get(AccountRow, row.account)
        audit.note(
            session, action="logged out", kind="account", key=str(row.account), account="" if account is None else account.name
        )  # fmt: skip


def _count(ws: Workspace, name: str, address: str) -> int:
    """Note an attempt as failed, until it turns out otherwise; returns its number."""
    shown, limits = _sum(accounts.folded(name)), ws.limits.log_in
    with ws.writing() as session:
        window, since = limits.window, now() - limits.window
        session.execute(delete(AttemptRow).where(AttemptRow.at < now() - KEPT))
        for column, value, most in (
            (AttemptRow.name, shown, limits.by_name),
            (AttemptRow.address, address, limits.by_address),
        ):
            failed = select(func.count(), func.min(AttemptRow.at)).where(
                column == value, AttemptRow.at > since, AttemptRow.passed.is_(False)
            )
            count, first = session.execute(failed).one()
            if count >= most:
                raise WaitError(max(1, round((first + window - now()).total_seconds())))
        row = AttemptRow(name=shown, address=address, at=now(), passed=False)
        session.add(row)
        session.flush()
        return row.id


def _sum(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()

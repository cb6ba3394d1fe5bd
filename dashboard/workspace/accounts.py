"""Accounts: names, passwords (argon2), roles per building. As soon as there is one, nobody gets in without."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy import or_, select, update
from sqlalchemy.orm import Session
from zxcvbn import zxcvbn

from dashboard.workspace import audit, one_time
from dashboard.workspace.access_tables import AccountRow, RoleRow, SessionRow
from dashboard.workspace.actors import ROLES, Actor, Role
from dashboard.workspace.buildings import named, row_of
from dashboard.workspace.errors import NotThereError, RefusedError
from dashboard.workspace.guarded import PEOPLE
from dashboard.workspace.limits import NAME
from dashboard.workspace.space import Workspace, now

HASHER: Final = PasswordHasher()
"""The library's own parameters: argon2id with 64 MiB and 3 passes, the second choice of RFC 9106."""
NOBODY: Final = HASHER.hash("nobody has this password")
"""What a password is held against where there is no such account, so that the answer takes as long."""
SHORTEST, LONGEST = 12, 128
"""Characters of a password: OWASP ASVS 4.0.3, 2.1.1 and 2.1.2."""
LEAST_SCORE = 3
"""Of zxcvbn's 0 to 4: guessed in no less than 10⁸ tries. Chosen by us."""


@dataclass(frozen=True)
class Account:
    """An account in a list. ``roles`` by building; the empty name stands for every building.

    ``subject`` is what a provider calls the person, ``issuer`` which provider; ``None`` where the next good log-in tells.
    """

    id: int
    name: str
    roles: Mapping[str, Role]
    subject: str | None
    issuer: str | None
    has_password: bool
    created_at: dt.datetime
    disabled_at: dt.datetime | None


def exist(ws: Workspace) -> bool:
    """Whether there are accounts, so that everybody has to log in. They are disabled, never deleted."""
    with ws.reading() as session:
        return session.scalar(select(AccountRow.id).limit(1)) is not None


def administered(ws: Workspace) -> bool:
    """Whether somebody can log in who administers every building."""
    return any(a.disabled_at is None and a.roles.get("") == "administer" for a in all_of(ws))


def add(
    ws: Workspace,
    name: str,
    password: str | None,
    *,
    role: Role,
    buildings: Collection[str] = (),
    subject: str | None = None,
    issuer: str | None = None,
    invited: bool = False,
    by: str = "",
) -> int:
    """Make an account; returns its number.

    Parameters
    ----------
    password
        ``None`` where only a provider vouches for the person, who is its ``subject`` then; or who is ``invited``: gets a link to choose one.
    role, buildings
        The role on these buildings; on every one where none is named.
    issuer
        The provider that ``subject`` is of; where ``None`` the one that is configured, and if none is, the next that vouches for it.

    Raises
    ------
    RefusedError
        If the name is taken, the password too weak, or it is the first account and does not administer everything.
    """
    shown = named(name)
    told = _tie(ws, subject, issuer)
    if password is None and told == NOBODYS and not invited:
        raise RefusedError("An account needs a password, or a provider that vouches for it.")
    kept = None if password is None else HASHER.hash(fit(password, shown))
    with _writing(ws, by) as session:
        first = session.scalar(select(AccountRow.id).limit(1)) is None
        if first and (role != "administer" or buildings):
            raise RefusedError("The first account must administer every building, or nobody could. Give it that role.")
        if _row(session, shown, there=False) is not None:
            raise RefusedError(f"There is an account {shown} already.")
        _nobody_elses(session, told)
        row = AccountRow(
            name=shown, folded=folded(shown), password=kept, subject=told.subject, issuer=told.issuer, created_at=now()
        )  # fmt: skip
        session.add(row)
        session.flush()
        _give(session, row.id, role, buildings)
        return row.id


def folded(name: str) -> str:
    """A name as it is compared.

    Examples
    --------
    >>> folded("  Anna  Berg ")
    'anna berg'
    """
    return " ".join(name.split()).casefold()


def fit(password: str, name: str = "") -> str:
    """Return a password that is long enough and not known or easily guessed.

    Raises
    ------
    RefusedError
        If it is not; the text says why, and never holds it.
    """
    if not SHORTEST <= len(password) <= LONGEST:
        raise RefusedError(f"A password has {SHORTEST} to {LONGEST} characters; this one has {len(password)}.")
    # Beyond 72 characters the estimate takes long and says nothing new.
    found = zxcvbn(password[:72], user_inputs=[name, *name.split(), "holdoff"])
    if found["score"] < LEAST_SCORE:
        why = found["feedback"]["warning"] or "It is easily guessed"
        raise RefusedError(
            f"{why.rstrip('.')}. Take another password, such as four words that have nothing to do with each other."
        )
    return password


def all_of(ws: Workspace) -> list[Account]:
    """List the accounts by name, also the disabled ones."""
    with ws.reading() as session:
        roles: dict[int, dict[str, Role]] = {}
        for r in session.scalars(select(RoleRow)):
            roles.setdefault(r.account, {})[r.building] = r.role  # type: ignore[assignment]
        return [
            Account(
                id=a.id,
                name=a.name,
                roles=roles.get(a.id, {}),
                subject=a.subject,
                issuer=a.issuer,
                has_password=a.password is not None,
                created_at=a.created_at,
                disabled_at=a.disabled_at,
            )
            for a in session.scalars(select(AccountRow).order_by(AccountRow.folded))
        ]


def set_password(ws: Workspace, name: str, password: str, *, by: str = "") -> None:
    """Give an account another password, and end all its sessions."""
    kept = HASHER.hash(fit(password, name))
    with _writing(ws, by) as session:
        row = _there(session, name)
        row.password = kept
        end_sessions(session, row.id)


def disable(ws: Workspace, name: str, *, by: str = "") -> None:
    """Let nobody in on an account any more, and end its sessions at once. What was done with it keeps its name.

    Raises
    ------
    RefusedError
        If nobody would be left who administers everything.
    """
    with _writing(ws, by) as session:
        row = _there(session, name)
        row.disabled_at = now()
        end_sessions(session, row.id)
        session.flush()
        _somebody_administers(session)


def enable(ws: Workspace, name: str, *, by: str = "") -> None:
    """Let a disabled account in again."""
    with _writing(ws, by) as session:
        _there(session, name).disabled_at = None


def set_role(ws: Workspace, name: str, role: Role | None, *, buildings: Collection[str] = (), by: str = "") -> None:
    """Give an account a role on buildings, on every one where none is named; ``None`` takes it away. It holds from the next request on."""
    with _writing(ws, by) as session:
        row = _there(session, name)
        _give(session, row.id, role, buildings)
        session.flush()
        _somebody_administers(session)


def set_subject(ws: Workspace, name: str, subject: str | None, *, issuer: str | None = None, by: str = "") -> None:
    """Tie an account to the person whom a provider calls ``subject``; ``None`` unties it. Its sessions end.

    Parameters
    ----------
    issuer
        The provider; where ``None`` the one that is configured. If none is, it stays as it is for the same subject, and for another one
        the next provider that vouches for it is taken.

    Raises
    ------
    RefusedError
        If the person is tied to another account, or the issuer is no address.
    """
    told = _tie(ws, subject, issuer)
    with _writing(ws, by) as session:
        row = _there(session, name)
        if told.issuer is None and told.subject == row.subject:
            told = Tie(row.subject, row.issuer)
        _retie(session, row, told)


def move_ties(ws: Workspace, issuer: str, *, before: str | None, by: str = "") -> list[str]:
    """Have accounts that are tied to one provider tied to another, under the subjects that they have: the provider's address has changed.

    Each is noted in the audit log, and its sessions end. The way back is the same with both exchanged.

    Parameters
    ----------
    issuer
        The provider from now on.
    before
        The provider until now; ``None``: of accounts that were tied before providers were noted.

    Returns
    -------
    Names of these accounts. None is moved where one cannot be.

    Raises
    ------
    RefusedError
        If one of the persons is tied to another account under the new provider already, or the issuer is no address.
    """
    told = _address(issuer)
    with _writing(ws, by) as session:
        of_it = (
            AccountRow.subject.is_not(None),
            AccountRow.issuer.is_(None) if before is None else AccountRow.issuer == before,
        )
        rows = session.scalars(select(AccountRow).where(*of_it).order_by(AccountRow.folded)).all()
        for row in rows:
            _retie(session, row, Tie(row.subject, told))
        return [row.name for row in rows]


@dataclass(frozen=True)
class Tie:
    """Whom an account is tied to: the pair that identifies a person (OpenID Connect Core 1.0, section 5.7)."""

    subject: str | None
    issuer: str | None


NOBODYS: Final = Tie(None, None)


def _tie(ws: Workspace, subject: str | None, issuer: str | None) -> Tie:
    told = (subject or "").strip() or None
    if told is None:
        return NOBODYS
    given = (issuer or "").strip()
    if given:
        return Tie(told, _address(given))
    return Tie(told, None if ws.limits.provider is None else ws.limits.provider.issuer)


def _address(issuer: str) -> str:
    if urlsplit(issuer).scheme not in ("https", "http"):
        raise RefusedError(
            f"{issuer} is no issuer. An issuer is an address that begins with https://; write it as {NAME} and the provider do."
        )
    return issuer


def _retie(session: Session, row: AccountRow, told: Tie) -> None:
    if told != Tie(row.subject, row.issuer):
        _nobody_elses(session, told, but=row.id)
        row.subject, row.issuer = told.subject, told.issuer
        session.flush()
        end_sessions(session, row.id)


def vouched_for(session: Session, subject: str, issuer: str) -> tuple[AccountRow | None, bool]:
    """Return the account that is tied to a person of a provider, disabled or not.

    Returns
    -------
    The account, also one whose provider is not known yet; else ``None``, and whether another provider's person of the same name has one.
    """
    rows = session.scalars(select(AccountRow).where(AccountRow.subject == subject)).all()
    own = next((r for r in rows if r.issuer == issuer), None) or next((r for r in rows if r.issuer is None), None)
    return own, own is None and bool(rows)


def link(ws: Workspace, name: str, *, by: str = "") -> str:
    """Return the token of a link with which a person chooses a password, once. One made before holds no longer."""
    with _writing(ws, by) as session:
        row = _there(session, name)
        if row.disabled_at is not None:
            raise RefusedError(f"{row.name} is disabled. Let the account in again first.")
        token = one_time.make(session, "password", lasts=ws.limits.log_in.link, account=row.id)
        audit.note(session, action="link made", kind="account", key=str(row.id), said=by)
        return token


def of_link(ws: Workspace, token: str) -> str | None:
    """Return the name of the account that a link is for; ``None`` where it does not hold, or no longer."""
    with ws.reading() as session:
        held = one_time.look(session, "password", token)
        row = None if held is None else session.get(AccountRow, held.account)
        return None if row is None or row.disabled_at is not None else row.name


def choose(ws: Workspace, token: str, password: str) -> int | None:
    """Take a link: its account has this password from now on, and no session. Returns its number; ``None`` where the link does not hold.

    Raises
    ------
    RefusedError
        If the password is too weak. The link goes on holding.
    """
    name = of_link(ws, token)
    if name is None:
        return None
    kept = HASHER.hash(fit(password, name))
    with _writing(ws, name) as session:
        held = one_time.take(session, "password", token)
        row = None if held is None else session.get(AccountRow, held.account)
        if row is None or row.disabled_at is not None:
            return None
        row.password = kept
        end_sessions(session, row.id)
        return row.id


def _nobody_elses(session: Session, told: Tie, *, but: int = 0) -> None:
    if told.subject is None:
        return
    query = select(AccountRow.name).where(AccountRow.subject == told.subject, AccountRow.id != but)
    if told.issuer is not None:
        # One whose provider is not known yet may be this one's.
        query = query.where(or_(AccountRow.issuer.is_(None), AccountRow.issuer == told.issuer))
    other = session.scalar(query.limit(1))
    if other is not None:
        raise RefusedError(
            f"This subject is tied to {other} already. One person has one account; untie it there first."
        )


@contextmanager
def _writing(ws: Workspace, by: str) -> Iterator[Session]:
    with ws.writing(by) as session:
        session.info[PEOPLE] = True
        yield session


def _give(session: Session, account: int, role: Role | None, buildings: Collection[str]) -> None:
    if role is not None and role not in ROLES:
        raise RefusedError(f"There is no role {role}. Roles are {', '.join(ROLES)}.")
    for building in buildings or ("",):
        if building:
            row_of(session, building)
        held = session.scalar(select(RoleRow).where(RoleRow.account == account, RoleRow.building == building))
        if role is None:
            if held is not None:
                session.delete(held)
        elif held is None:
            session.add(RoleRow(account=account, building=building, role=role))
        else:
            held.role = role


def _somebody_administers(session: Session) -> None:
    query = select(AccountRow.id).join(RoleRow, RoleRow.account == AccountRow.id)
    left = query.where(AccountRow.disabled_at.is_(None), RoleRow.building == "", RoleRow.role == "administer")
    if session.scalar(left.limit(1)) is None:
        raise RefusedError("Nobody would be left who administers every building. Give somebody else that role first.")


def end_sessions(session: Session, account: int) -> None:
    """End all log-ins of an account."""
    session.execute(
        update(SessionRow).where(SessionRow.account == account, SessionRow.ended_at.is_(None)).values(ended_at=now())
    )
    audit.note(session, action="sessions ended", kind="account", key=str(account), said=session.info.get("by", ""))


def matches(kept: str | None, password: str) -> bool:
    """Whether a password is the one that was kept; takes as long where there is none."""
    try:
        right = HASHER.verify(kept or NOBODY, password)
    except (VerificationError, InvalidHashError):
        return False
    return right and kept is not None


def actor_of(session: Session, row: AccountRow, *, reads_only: bool = False) -> Actor:
    """Return an account as somebody who acts, with the roles that it has now."""
    held = session.execute(select(RoleRow.building, RoleRow.role).where(RoleRow.account == row.id)).all()
    roles: dict[str | None, Role] = {building or None: role for building, role in held}  # type: ignore[misc]
    return Actor(row.id, row.name, roles, reads_only)


def row_named(session: Session, name: str) -> AccountRow | None:
    """Return an account's row by its name, however it is written; ``None`` where there is none or it is disabled."""
    row = _row(session, name, there=False)
    return None if row is None or row.disabled_at is not None else row


def _there(session: Session, name: str) -> AccountRow:
    row = _row(session, name, there=True)
    assert row is not None
    return row


def _row(session: Session, name: str, *, there: bool) -> AccountRow | None:
    row = session.scalar(select(AccountRow).where(AccountRow.folded == folded(name)))
    if row is None and there:
        raise NotThereError("account", name)
    return row

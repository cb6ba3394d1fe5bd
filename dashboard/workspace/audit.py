"""The audit log: who did what, in the transaction that did it, chained by hash, never changed.

Rows are noted where they are written (`guarded`), so nothing that is kept can be forgotten here. The chain shows a change of any entry and the
lack of one in the middle; that the last ones are missing shows against a head (number and hash) that was noted elsewhere.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from itertools import islice
from typing import TYPE_CHECKING, Any, Final, Literal

import polars as pl
from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from dashboard.workspace.access_tables import AuditRow
from dashboard.workspace.actors import actor
from tuning.export import safe_in_spreadsheets

if TYPE_CHECKING:
    from dashboard.workspace.space import Workspace

Signed = Literal["account", "said", "program"]
FIRST: Final = "0" * 64
"""What stands before the first entry."""
HEAD = "audit head"
BATCH = 1000


@dataclass(frozen=True)
class Entry:
    """One thing that was done. ``details`` is JSON: columns as added, or before and after."""

    number: int
    at: dt.datetime
    who: str
    signed: Signed
    action: str
    kind: str
    key: str
    building: str
    details: str
    previous: str
    hash: str


@dataclass(frozen=True)
class Verified:
    """What a look through the whole chain gave. ``broken`` says where it does not hold, in one line; ``None`` where it does."""

    entries: int
    head: str
    broken: str | None


def note(
    session: Session,
    *,
    action: str,
    kind: str = "",
    key: str = "",
    building: str = "",
    details: dict[str, Any] | None = None,
    said: str = "",
    account: str = "",
) -> None:
    """Add an entry in the transaction of what it speaks of.

    Parameters
    ----------
    said
        Name that the person gave, where no account acts.
    account
        Name of the account, while it logs in or out.
    """
    number, previous = _head(session)
    who = actor()
    entry = {
        "number": number + 1,
        "at": dt.datetime.now(dt.UTC),
        "who": who.name if who is not None else account or said,
        "signed": "account" if who is not None or account else "said" if said else "program",
        "action": action,
        "kind": kind,
        "key": key,
        "building": building,
        "details": json.dumps(details or {}, sort_keys=True, ensure_ascii=False, default=str),
        "previous": previous,
    }
    entry["hash"] = _sum(entry)
    session.connection().execute(insert(AuditRow.__table__).values(**entry))  # type: ignore[arg-type]
    session.info[HEAD] = (entry["number"], entry["hash"])


def _head(session: Session) -> tuple[int, str]:
    if HEAD not in session.info:
        table = AuditRow.__table__
        query = select(table.c.number, table.c.hash).order_by(table.c.number.desc()).limit(1)
        row = session.connection().execute(query).first()
        session.info[HEAD] = (0, FIRST) if row is None else (row.number, row.hash)
    return session.info[HEAD]


def _sum(entry: dict[str, Any]) -> str:
    parts = [entry["at"].astimezone(dt.UTC).isoformat() if name == "at" else entry[name] for name in _HASHED]
    return sum_of(json.dumps(parts, ensure_ascii=False))


def sum_of(text: str) -> str:
    """SHA-256 of a text."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


_HASHED = ("number", "at", "who", "signed", "action", "kind", "key", "building", "details", "previous")


def entries(ws: Workspace, *, building: str | None = None) -> Iterator[Entry]:
    """Give all entries, the oldest first; of one building if asked."""
    last = 0
    while True:
        with ws.reading() as session:
            query = select(AuditRow).where(AuditRow.number > last).order_by(AuditRow.number).limit(BATCH)
            if building is not None:
                query = query.where(AuditRow.building == building)
            rows = session.scalars(query).all()
        for r in rows:
            yield Entry(
                r.number, r.at, r.who, r.signed, r.action, r.kind, r.key, r.building, r.details, r.previous, r.hash  # type: ignore[arg-type]
            )  # fmt: skip
        if len(rows) < BATCH:
            return
        last = rows[-1].number


def verify(ws: Workspace, *, head: tuple[int, str] | None = None) -> Verified:
    """Look through the whole chain.

    Parameters
    ----------
    head
        Number and hash of an entry that was noted elsewhere: the chain must hold it.
    """
    count, previous, met = 0, FIRST, head is None
    for e in entries(ws):
        count += 1
        if e.number != count:
            return Verified(count - 1, previous, f"Entry {count} is missing.")
        if e.previous != previous:
            return Verified(count - 1, previous, f"Entry {e.number} does not follow the entry before it.")
        if _sum(asdict(e)) != e.hash:
            return Verified(count - 1, previous, f"Entry {e.number} was changed.")
        if head is not None and e.number == head[0]:
            if e.hash != head[1]:
                return Verified(count, e.hash, f"Entry {e.number} is not the one that was noted.")
            met = True
        previous = e.hash
    if not met and head is not None:
        return Verified(count, previous, f"Entry {head[0]} was noted, and the log ends with entry {count}.")
    return Verified(count, previous, None)


def as_csv(found: Iterator[Entry]) -> Iterator[str]:
    """Write entries as CSV, part by part; a text that a spreadsheet would run as a formula gets a leading apostrophe."""
    schema = {f: pl.Int64() if f == "number" else pl.String() for f in Entry.__dataclass_fields__}
    header = True
    while part := list(islice(found, BATCH)):
        rows = [asdict(e) | {"at": e.at.isoformat()} for e in part]
        yield safe_in_spreadsheets(pl.DataFrame(rows, schema=schema)).write_csv(include_header=header)
        header = False
    if header:
        yield pl.DataFrame(schema=schema).write_csv()


def as_json(found: Iterator[Entry]) -> Iterator[str]:
    """Write entries as a JSON array, entry by entry."""
    before = "["
    for e in found:
        row = asdict(e) | {"at": e.at.isoformat(), "details": json.loads(e.details)}
        yield before + "\n" + json.dumps(row, ensure_ascii=False)
        before = ","
    yield "[]\n" if before == "[" else "\n]\n"

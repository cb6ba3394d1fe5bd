"""``holdoff map``: proposes, prints, and writes where it is asked to."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from tuning.errors import SiteError
from tuning.mapping.check import MappingCheck, check_mapping
from tuning.mapping.model import ColumnProposal, Mapping, Proposal, TableProposal
from tuning.mapping.propose import propose
from tuning.mapping.write import to_confirm, write_mapping
from tuning.site import known_zone

FIRST_LOOK_ROWS = 200_000
"""Rows of each file that the check reads. Chosen by us: a second or so."""


@dataclass(frozen=True)
class Told:
    """All that the command has to tell: what is proposed, what would be read with it, and where it was written."""

    proposal: Proposal
    check: MappingCheck | None
    written: Path | None
    confirm: tuple[str, ...]


def run(
    folder: Path,
    *,
    write: bool,
    time_zone: str | None,
    json_path: Path | None,
    progress: Callable[[float, str], None] | None,
) -> Told:
    """Propose a mapping, try it, and write what is asked.

    Raises
    ------
    TuningError
        If there is nothing to look at, or ``site.toml`` cannot be written.
    """
    proposal = propose(folder, progress=progress)
    if json_path:
        json_path.write_text(json.dumps(proposal.document(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    mapping = proposal.mapping()
    if time_zone and not proposal.zone_known:
        try:
            mapping = Mapping.model_validate(mapping.model_dump() | {"time_zone": known_zone(time_zone)})
        except ValueError as error:
            rule = "A zone has its IANA name"
            raise SiteError(
                folder / "site.toml", "time_zone", str(error).split("\n")[0], rule, "Correct --time-zone"
            ) from error
    written = None
    if write:
        if not mapping.logs:
            rule = "A mapping has at least one column of a known room and quantity"
            raise SiteError(
                folder / "site.toml", "logs", "nothing was recognised", rule, "Map by hand; the README says how"
            )
        written = write_mapping(folder, mapping)
    check = check_mapping(folder, mapping, most_rows=FIRST_LOOK_ROWS) if mapping.logs and mapping.time_zone else None
    return Told(proposal, check, written, to_confirm(folder) if written else ())


def tell(console: Console, told: Told) -> None:
    """Print what is proposed."""
    for table in told.proposal.tables:
        _print_table(console, table)
    for line in told.proposal.problems:
        console.print(f"[yellow]![/] {escape(line)}", highlight=False)
    for line in told.proposal.left:
        console.print(f"[dim]left aside: {escape(line)}[/]", highlight=False)
    if told.check is not None:
        _print_check(console, told.check)
    if told.written is not None:
        console.print(f"Written: {escape(str(told.written))}. To confirm in it:", highlight=False)
        for line in told.confirm:
            console.print(f"  {escape(line)}", highlight=False)
    else:
        console.print(
            "Nothing was written. With --write this goes into site.toml; lines that were assumed are marked there.",
            highlight=False,
        )


def _print_table(console: Console, table: TableProposal) -> None:
    files = ", ".join(table.files[:3]) + (f" and {len(table.files) - 3} more" if len(table.files) > 3 else "")
    time = " + ".join(table.time.columns) + (f" as {table.time.time_format}" if table.time.time_format else "")
    mark = "" if table.time.sure else "  [yellow]look[/]"
    console.print(
        f"[bold]{escape(files)}[/]: {table.layout}, time {escape(time)} ({'; '.join(table.time.reasons)}){mark}",
        highlight=False,
    )
    shown = Table(box=None, pad_edge=False)
    for heading in ("", "column or point", "quantity", "room", "channel", "sure", "first values", "why"):
        shown.add_column(heading, overflow="fold")
    for column in table.columns:
        shown.add_row(*_cells(column))
    console.print(shown)


def _cells(column: ColumnProposal) -> tuple[str, ...]:
    left = column.role == "other"
    mark = "[dim]-[/]" if left and column.sure else "[green]=[/]" if column.sure and column.meaning else "[yellow]?[/]"
    detector = f" ({column.detector})" if column.detector else ""
    return (
        mark,
        escape(column.name),
        "left out" if left else f"{column.quantity}{detector}",
        escape(column.room or "–"),
        escape(column.channel or "–"),
        f"{column.confidence:.2f}",
        escape(", ".join(column.preview.first[:3])),
        escape("; ".join(column.reasons)),
    )


def _print_check(console: Console, check: MappingCheck) -> None:
    if not check.reads:
        console.print(f"[yellow]Does not read yet:[/] {escape(check.problem or '')}", highlight=False)
        return
    span = f"{check.start:%Y-%m-%d} to {check.end:%Y-%m-%d}" if check.start and check.end else ""
    part = "" if check.whole else f" (the first {FIRST_LOOK_ROWS:,} rows of each file)"
    console.print(f"Reads: {check.rows:,} readings of {len(check.rooms)} rooms, {span}{part}.", highlight=False)
    for room in check.rooms:
        if not room.usable:
            console.print(f"[yellow]![/] {escape(room.room)} has no motion and no occupancy.", highlight=False)
    for name in check.silent:
        console.print(f"[yellow]![/] {escape(name)} of site.toml has no reading.", highlight=False)
    for finding in check.findings:
        console.print(f"[dim]{finding.severity}: {escape(finding.message)}[/]", highlight=False)

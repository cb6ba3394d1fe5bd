"""How many columns of many exports are proposed right, and whether a wrong one is ever called sure. Run with ``-m benchmark -s``."""

from collections import Counter, defaultdict

import pytest

from tests.benchmarks.export_files import make
from tuning.mapping import check_mapping, propose

EXPORTS = 150
SEED = 70_000
"""Not 20,000 and on: those exports were looked at while the vocabulary was written, these were not."""


def proposed_by_name(proposal, layout):
    """Proposals by the name that the truth has: the column, the point, or the file where each holds one series."""
    if layout != "files":
        return {c.name: c for t in proposal.tables for c in t.columns}
    return {t.files[0]: t.columns[0] for t in proposal.tables if len(t.files) == 1 and t.columns}


def right_rooms(found, meant):
    """Names whose room holds the very series that truly share its room, as far as they are readings."""
    real = {n: m.room for n, m in meant.items() if m.quantity}
    given = {n: found[n].room for n in real if n in found}
    by_given, by_real = defaultdict(Counter), defaultdict(Counter)
    for name, room in given.items():
        by_given[room][real[name]] += 1
        by_real[real[name]][room] += 1
    return {
        n for n, room in given.items()
        if room is not None and by_given[room].most_common(1)[0][0] == real[n] and by_real[real[n]].most_common(1)[0][0] == room
    }  # fmt: skip


@pytest.mark.benchmark
@pytest.mark.timeout(1200)
def test_columns_of_many_exports(tmp_path):
    counts, wrong_and_sure, files = Counter(), [], 0
    by_habit = defaultdict(Counter)
    for number in range(EXPORTS):
        folder = tmp_path / str(number)
        folder.mkdir()
        export = make(folder, SEED + number)
        files += len(list(folder.iterdir()))
        proposal = propose(folder)
        found = proposed_by_name(proposal, export.layout)
        rooms = right_rooms(found, export.meant)
        times_right = all(t.time.columns == export.time for t in proposal.tables) and bool(proposal.tables)
        starts = [c.preview.start for t in proposal.tables for c in t.columns if c.preview.start]
        clock_right = times_right and bool(starts)
        clock_right = clock_right and abs((min(starts).replace(tzinfo=None) - export.start).total_seconds()) <= 7200
        counts["exports"] += 1
        counts["time right"] += clock_right
        if not clock_right and all(t.time.sure for t in proposal.tables) and proposal.tables:
            wrong_and_sure.append((number, "time", [t.time for t in proposal.tables][:1]))
        counts["layout right"] += bool(proposal.tables) and proposal.tables[0].layout == (
            "points" if export.layout == "points" else "wide"
        )
        mapping = proposal.mapping()
        if mapping.logs:
            counts["reads"] += check_mapping(
                folder, mapping.model_copy(update={"time_zone": "Europe/Copenhagen"}), most_rows=5000
            ).reads
        for name, truth in export.meant.items():
            column = found.get(name)
            counts["columns"] += 1
            quantity = (
                column is not None
                and column.quantity == truth.quantity
                and (truth.quantity is not None or column.role == "other")
            )
            room = truth.quantity is None or name in rooms
            right = quantity and room
            counts["quantity right"] += quantity
            counts["room right"] += room
            counts["right"] += right
            by_habit[export.habit].update(columns=1, right=right)
            if column is None:
                counts["not seen"] += 1
                continue
            counts["sure"] += column.sure
            counts["sure and right"] += column.sure and right
            counts["wrong, flagged"] += not right and not column.sure
            if not right and column.sure:
                wrong_and_sure.append(
                    (
                        number,
                        export.habit,
                        name,
                        truth,
                        column.role,
                        column.quantity,
                        column.room,
                        column.confidence,
                        column.reasons,
                    )
                )
    print(f"\n{EXPORTS} exports, {files} files:", ", ".join(f"{k} {v}" for k, v in counts.items()))
    print({k: f"{v['right']}/{v['columns']}" for k, v in by_habit.items()})
    for line in wrong_and_sure[:40]:
        print("WRONG AND SURE", *line)

    assert files >= 100
    assert counts["right"] / counts["columns"] >= 0.85
    assert not wrong_and_sure

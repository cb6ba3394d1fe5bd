"""From an export to a ``site.toml``: what the files look like they hold, for a person to correct, to check live and to write.

The steps, as the command ``holdoff map`` and the web application take them::

    from tuning.mapping import check_mapping, propose, write_mapping

    proposal = propose(folder)              # looks at the files; writes nothing
    for table in proposal.tables:           # files of the same kind
        table.files, table.layout, table.time.columns, table.time.confidence
        for column in table.columns:        # a column of a wide log, a point of a log by points
            column.name, column.quantity, column.room, column.channel, column.detector
            column.confidence, column.sure, column.reasons, column.preview
    proposal.rooms                          # the rooms these belong to, with a use and channels
    proposal.problems                       # files that nothing can be made of, and why

    mapping = proposal.mapping()            # a Mapping: what would be written; columns without room or quantity are not in it
    mapping = Mapping.model_validate(...)   # or what a person made of it: plain JSON, Mapping.model_dump(mode="json") the other way

    found = check_mapping(folder, mapping)  # reads with it: found.reads, found.problem, found.rows, found.rooms, found.findings
    write_mapping(folder, mapping)          # into site.toml; comments and all other tables stay; atomic

A :class:`Mapping` is pydantic because it comes from outside; its ``logs`` are the ``[[logs]]`` tables of ``site.toml``
(:class:`tuning.site.LogLayout`), its ``rooms`` what is to be added to ``[rooms]``. Everything proposed is frozen and holds plain values.
Nothing here draws, and only :func:`write_mapping` writes.
"""

from tuning.mapping.check import MappingCheck, RoomCheck, check_mapping
from tuning.mapping.model import (
    ColumnProposal,
    MappedRoom,
    Mapping,
    Preview,
    Proposal,
    RoomProposal,
    TableProposal,
    TimeProposal,
)
from tuning.mapping.propose import propose
from tuning.mapping.write import mapped_site, to_confirm, write_mapping

__all__ = [
    "ColumnProposal",
    "MappedRoom",
    "Mapping",
    "MappingCheck",
    "Preview",
    "Proposal",
    "RoomCheck",
    "RoomProposal",
    "TableProposal",
    "TimeProposal",
    "check_mapping",
    "mapped_site",
    "propose",
    "to_confirm",
    "write_mapping",
]

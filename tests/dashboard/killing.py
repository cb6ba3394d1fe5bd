"""A server that works in a workspace and is killed at any moment: what it confirmed is written down before it goes on.

``python -m tests.dashboard.killing WORKSPACE CONFIRMED SEED``: uploads a file in pieces, edits, decides, says words; every line that it writes to
CONFIRMED is something that a person has been told. It goes on where an earlier one was killed.
"""

import hashlib
import io
import json
import random
import sys
from pathlib import Path

from dashboard.workspace import Workspace, buildings, decisions, uploads, verdicts
from dashboard.workspace.decisions import Choice
from dashboard.workspace.uploads import OffsetError
from tests.dashboard import synthetic
from tests.dashboard.workspaces import analysed_again
from tuning.results import Settings

PIECE = 40_000
KINDS = ["upload", "upload", "decide", "undo", "word", "edit", "analyse"]
"""What is done in turn, in another order each time."""


def body(seed):
    """The file that an upload of this number sends."""
    return random.Random(seed).randbytes(300_000)


def main(folder, confirmed, seed):
    ws = Workspace(folder)
    uploads.recover(ws)
    (building,) = [b.id for b in buildings.all_of(ws)]
    rng = random.Random(seed)
    out = confirmed.open("a", encoding="utf-8")

    def told(**what):
        out.write(json.dumps(what) + "\n")
        out.flush()

    # The one before may have been killed between a new log and its analysis.
    number = analysed_again(ws, building)
    print("ready", flush=True)
    todo = []
    for step in range(10_000):
        todo = todo or rng.sample(KINDS, len(KINDS))
        what = todo.pop()
        if what == "upload":
            upload(ws, building, seed * 1000 + step, told)
            number = analysed_again(ws, building)
        elif what == "analyse":
            number = analysed_again(ws, building)
            told(analysis=number)
        elif what == "edit":
            price = rng.randint(1, 999) / 1000
            before = buildings.document(ws, building)[1]
            told(
                edit=price,
                revision=buildings.edit(ws, building, {("site", "electricity_price"): price}, by="A", revision=before),
            )
            number = analysed_again(ws, building)
        elif what == "word":
            time = synthetic.START.replace(microsecond=step, second=seed % 60)
            said = verdicts.say(ws, building, "r102", "all", time, present=bool(step % 2), by="A")
            told(word=said.id, present=said.present)
            number = analysed_again(ws, building)
        else:
            state = decisions.states(ws, building).get(("r101", "wall"), decisions.ChannelState())
            if what == "undo" and state.decision is not None:
                decisions.undo(ws, building, [state.decision.id], by="A")
                told(undone=state.decision.id)
            elif what == "decide":
                hold = float(rng.choice([300, 600, 900]))
                choices = [
                    Choice("r101", "wall", "adjust", state.revision, Settings(hold, 400.0, "auto-on")),
                    Choice("r101", "window", "accept", decisions.states(ws, building).get(("r101", "window"), state.__class__()).revision),
                ]  # fmt: skip
                made = decisions.decide(ws, building, choices, analysis=number, by="A")
                told(decided=[d.id for d in made], hold=hold)


def upload(ws, building, number, told):
    sent = body(number)
    name = f"log {number}.csv"
    at = uploads.begin(ws, building, name, len(sent), by="A", sha256=hashlib.sha256(sent).hexdigest())
    told(begun=at.id, number=number)
    while at.ended is None:
        piece = sent[at.received : at.received + PIECE]
        try:
            at = uploads.add(ws, at.id, at.received, io.BytesIO(piece), len(piece))
        except OffsetError:
            at = uploads.get(ws, at.id)
            continue
        told(received=at.received, upload=at.id)
    told(arrived=at.file, number=number, sum=hashlib.sha256(sent).hexdigest())


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]))

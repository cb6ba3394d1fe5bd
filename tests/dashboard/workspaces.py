"""Workspaces to test with: a made-up building, and the made-up analysis of it."""

from dataclasses import asdict

from dashboard.workspace import Workspace, analyses, buildings
from dashboard.workspace import inputs as given
from tests.dashboard import synthetic

ANNA, BEN = "Anna", "Ben"


def facts(analysis=None):
    """The ``site.toml`` that belongs to an analysis, as a document."""
    analysis = analysis or synthetic.analysis()
    rooms = {}
    for c in analysis.channels:
        room = rooms.setdefault(c.room, {"name": c.room_name, "use": c.use, "channels": {}})
        room["channels"][c.channel] = {"load_w": c.load_w, "control": c.control, "hold_off_s": c.current.hold_off_s}
        if c.current.target_lx:
            room["channels"][c.channel]["target_lx"] = c.current.target_lx
        if c.current.hold_off_s is None:
            del room["channels"][c.channel]["hold_off_s"]
    return {"site": {"name": analysis.site, "time_zone": analysis.time_zone, "max_hold_off_s": 1200}, "rooms": rooms}


def begun(folder):
    """A workspace with a building that nothing has been uploaded for; gives both."""
    ws = Workspace(folder)
    return ws, buildings.create(ws, facts(), by=ANNA)


def analysed(folder, analysis=None):
    """A workspace with an analysed building; gives it, the building and the analysis."""
    ws, building = begun(folder)
    return ws, building, analysed_again(ws, building, analysis)


def analysed_again(ws, building, analysis=None):
    """Keep an analysis of the present inputs; gives its number."""
    with ws.reading() as session:
        inputs = given.present(session, building)
    return analyses.keep(ws, building, analysis or synthetic.analysis(), inputs, by=ANNA)


def plain(value):
    """A result without its frames, to compare."""
    return {k: v for k, v in asdict(value).items() if not hasattr(v, "columns")}

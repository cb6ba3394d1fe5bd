"""Models of a building beside its logs map points by themselves, however they are called."""

import json

import pytest

from tests.tuning.log_files import put
from tuning.mapping import propose

LOG = ["time,P-17,P-18,P-19,P-20,P-21,P-30"] + [
    f"2026-03-{2 + m // 1440:02d} {m // 60 % 24:02d}:{m % 60:02d},"
    f"{int(m % 7 == 0)},{m % 700},{100 * (m // 30 % 2)},{90 * (m // 40 % 2)},{m % 60},{m % 900}"
    for m in range(2880)
]
EXPECTED = {
    "P-17": ("room_2_14", None, "motion"),
    "P-18": ("room_2_14", None, "illuminance"),
    "P-19": ("room_2_14", "row_a", "output"),
    "P-20": ("room_2_14", "row_b", "output"),
    "P-21": ("kitchen_1", "main", "power"),
}
BRICK = """
@prefix brick: <https://brickschema.org/schema/Brick#> .
@prefix ref: <https://brickschema.org/schema/Brick/ref#> .
@prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> .
@prefix b: <urn:building#> .
b:F2 a brick:Floor .
b:Room_2.14 a brick:Room ; brick:isPartOf b:F2 .
b:Kitchen_1 a brick:Space ; brick:hasPoint b:w .
b:Row_A a brick:Luminaire ; brick:hasLocation b:Room_2.14 ; brick:hasPoint b:d1 .
b:Row_B a brick:Luminaire ; brick:hasLocation b:Room_2.14 .
b:p a brick:PIR_Sensor ; brick:isPointOf b:Room_2.14 ; rdfs:label "P-17" .
b:l a brick:Illuminance_Sensor ; brick:isPointOf b:Room_2.14 ; ref:hasExternalReference [ a ref:TimeseriesReference ; ref:hasTimeseriesId "P-18" ] .
b:d1 a brick:Luminance_Command ; rdfs:label "P-19" .
b:d2 a brick:On_Off_Command ; brick:isPointOf b:Row_B ; rdfs:label "p 20" .
b:w a brick:Electric_Power_Sensor ; rdfs:label "P-21" .
b:t a brick:Zone_Air_Temperature_Sensor ; brick:isPointOf b:Room_2.14 ; rdfs:label "P-30" .
"""
SPACES = [
    {"id": "r:s1 Room 2.14", "dis": "Room 2.14", "space": "m:"},
    {"id": "r:s2", "dis": "Kitchen 1", "space": "m:"},
    {"id": "r:e1", "dis": "Row A", "equip": "m:", "spaceRef": "r:s1"},
    {"id": "r:e2", "dis": "Row B", "equip": "m:", "spaceRef": "r:s1"},
]
POINTS = [
    {"id": "r:p1", "dis": "P-17", "point": "m:", "motion": "m:", "sensor": "m:", "spaceRef": "r:s1"},
    {"id": "r:p2", "dis": "P-18", "point": "m:", "illuminance": "m:", "sensor": "m:", "unit": "lx", "spaceRef": "r:s1"},
    {"id": "r:p3", "dis": "P-19", "point": "m:", "light": "m:", "cmd": "m:", "unit": "%", "equipRef": "r:e1"},
    {"id": "r:p4", "dis": "P-20", "point": "m:", "light": "m:", "cmd": "m:", "unit": "%", "equipRef": "r:e2"},
    {
        "id": "r:p5",
        "dis": "P-21",
        "point": "m:",
        "elec": "m:",
        "power": "m:",
        "sensor": "m:",
        "unit": "W",
        "spaceRef": "r:s2",
    },
    {"id": "r:p6", "dis": "P-30", "point": "m:", "illuminance": "m:", "sp": "m:", "unit": "lx", "spaceRef": "r:s1"},
]


def hayson(value):
    """A cell as later Haystack JSON has it."""
    if value == "m:":
        return {"_kind": "marker"}
    if value.startswith("r:"):
        ref, _, dis = value[2:].partition(" ")
        return {"_kind": "ref", "val": ref} | ({"dis": dis} if dis else {})
    return value


def grid(rows, separator, marker, ref, quote):
    names = list(dict.fromkeys(name for row in rows for name in row))

    def cell(value):
        if value is None:
            return ""
        if value == "m:":
            return marker
        if value.startswith("r:"):
            head, _, dis = value[2:].partition(" ")
            return ref + head + (f' "{dis}"' if dis and quote else "")
        return f'"{value}"' if quote else value

    return [separator.join(names), *(separator.join(cell(row.get(name)) for name in names) for row in rows)]


MODELS = {
    "model.ttl": BRICK,
    "tags.json": json.dumps({"meta": {"ver": "3.0"}, "cols": [], "rows": SPACES + POINTS}),
    "hayson.json": json.dumps([{k: hayson(v) for k, v in row.items()} for row in SPACES + POINTS]),
    "tags.zinc": ['ver:"3.0"', *grid(SPACES + POINTS, ",", "M", "@", quote=True)],
    "tags.csv": grid(SPACES + POINTS, ",", "✓", "@", quote=False),
}


@pytest.mark.parametrize("name", MODELS)
def test_points_are_what_the_model_says(tmp_path, name):
    put(tmp_path, "log.csv", LOG)
    put(tmp_path, name, MODELS[name])

    proposal = propose(tmp_path)

    (table,) = proposal.tables
    found = {c.name: (c.room, c.channel, c.quantity) for c in table.columns}
    assert {k: found[k] for k in EXPECTED} == EXPECTED
    assert all(c.sure for c in table.columns if c.name in EXPECTED)
    # A class that tells nothing leaves its point to be looked at; a set point is no reading whatever its values look like.
    other = next(c for c in table.columns if c.name == "P-30")
    assert not other.sure if name == "model.ttl" else other.role == "other"
    assert proposal.left == (f"{name}: a model of the building",)
    assert proposal.problems == ()


def test_without_a_model_such_names_are_never_sure(tmp_path):
    put(tmp_path, "log.csv", LOG)

    assert not any(c.sure and c.role == "reading" for t in propose(tmp_path).tables for c in t.columns)


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("model.ttl", "@prefix brick: <", "model.ttl: not valid Turtle ("),
        ("tags.json", '{"rows": [1, 2]}', "tags.json: no list of tags ("),
        ("tags.json", '{"rows": [', "tags.json: no list of tags ("),
        ("tags.zinc", 'ver:"3.0"', "tags.zinc: no list of tags (no columns)"),
    ],
)
def test_a_model_that_cannot_be_read_is_one_line(tmp_path, name, content, told):
    put(tmp_path, "log.csv", LOG)
    put(tmp_path, name, content)

    proposal = propose(tmp_path)

    assert [line[: len(told)] for line in proposal.problems] == [told]
    assert len(proposal.tables) == 1


def test_brick_without_its_package_is_one_line(tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "rdflib", None)
    put(tmp_path, "log.csv", LOG)
    put(tmp_path, "model.ttl", BRICK)

    assert propose(tmp_path).problems == (
        "model.ttl: a Brick model, which needs the package rdflib. It comes with the extra 'brick'. Install holdoff[brick].",
    )

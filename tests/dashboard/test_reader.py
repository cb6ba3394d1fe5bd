"""Whoever writes a decimal comma finds none of our numbers with a point: not in sentences, tables, figures or fields; files stay as they are."""

import json
import re

import pytest
from flask import Flask
from plotly.utils import PlotlyJSONEncoder

from dashboard import reader, sheet
from dashboard.components import frame
from dashboard.pages.building import parts as building_parts
from dashboard.pages.building.rows import table_data
from dashboard.pages.facts import parts as facts_parts
from dashboard.pages.room import parts as room_parts
from dashboard.report import html_report
from dashboard.store import Load
from dashboard.workspace import buildings, decisions, documents, saved
from dashboard.workspace.decisions import Choice
from dashboard.workspace.fields import CHANNEL, SITE, read, written
from dashboard.workspace.inputs import changes
from tests.dashboard.workspaces import ANNA, analysed
from tuning.results import Settings

POINT = re.compile(r"(?<![\w.,:/-])(?!\d{1,3}\.\d{3}\b)\d+\.\d+(?![\w.])")
"""A number with a decimal point, and no version, time or file name; a group of thousands is none."""


@pytest.fixture
def german():
    with Flask("x").test_request_context(headers={"Accept-Language": "de-DE"}):
        yield


def shown(components):
    """Whatever text is in components, attributes too, as the browser gets it."""
    found = []

    def walk(value):
        if isinstance(value, dict):
            for key, inner in value.items():
                if key not in ("id", "style", "href"):
                    walk(inner)
        elif isinstance(value, list):
            for inner in value:
                walk(inner)
        elif isinstance(value, str):
            found.append(value)

    walk(json.loads(json.dumps(components, cls=PlotlyJSONEncoder)))
    return found


def test_the_demo_has_sentences_with_decimals(demo):
    told = [s for c in demo.channels for s in (*c.reasons, *(f.message for f in c.findings))]

    assert sum(bool(POINT.search(s)) for s in told) >= 10


def test_every_sentence_and_table_follows_the_reader(demo, german):
    texts = shown([building_parts.head(demo), building_parts.balance(demo), building_parts.attention_list(demo)])
    for c in demo.channels:
        texts += shown([room_parts.head(c, demo), room_parts.card(c, demo), room_parts.aside(c, demo)])
        texts += shown([room_parts.numbers(c, demo)])
    texts += [
        f[2]
        for room in table_data(demo, "", {}, can_decide=False)["rooms"]
        for c in room["channels"]
        for f in c["findings"]
    ]

    assert [t for t in texts if POINT.search(t)] == []
    assert sum(bool(re.search(r"\d,\d", t)) for t in texts) > 100


def test_english_is_what_nobody_asks_for(demo):
    page = html_report(demo)

    for c in demo.channels:
        assert c.reasons[0].replace("'", "&#x27;") in page


def test_sentences_keep_their_numbers_on_disk(demo, tmp_path, german):
    saved.save(demo, tmp_path / "a", "a")
    again = saved.load(tmp_path / "a")

    for before, after in zip(demo.channels, again.channels, strict=True):
        assert before.reasons == after.reasons
        assert [reader.said(r) for r in before.reasons] == [reader.said(r) for r in after.reasons]
        assert [reader.said(f.message) for f in before.findings] == [reader.said(f.message) for f in after.findings]


def test_the_sheet_follows_the_reader_and_its_files_do_not(tmp_path):
    ws, building, number = analysed(tmp_path / "ws")
    choice = Choice("r101", "wall", "adjust", 0, Settings(90.0, 412.5, "auto-on"), "asked for")
    decisions.decide(ws, building, [choice], analysis=number, by=ANNA)
    buildings.edit(ws, building, {("site", "electricity_price"): 0.35}, by=ANNA, revision=None)
    given = sheet.sheet_of(ws, building)
    plain = sheet.csv(given), sheet.as_json(given)
    with Flask("x").test_request_context(headers={"Accept-Language": "de-DE"}):
        page = sheet.page(given)
        assert (sheet.csv(given), json.loads(sheet.as_json(given))["settings"]) == (
            plain[0],
            json.loads(plain[1])["settings"],
        )
    ws.close()

    assert "1,5\u00a0min" in page
    assert "0,3 → 0,35" in page
    assert "1.5" not in re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL)
    assert ",90.0," in plain[0]


def test_outdated_facts_are_told_in_the_readers_numbers(german):
    before = {"version": "1", "files": [], "verdicts": [], "document": {"site": {"electricity_price": 0.3}}}
    after = {**before, "document": {"site": {"electricity_price": 0.35}}}
    told = changes(before, after)
    line = frame.news(Load("ready", 1.0, "", 1, outdated=tuple(told)), "b")

    assert told == ["Electricity 0.3 → 0.35 per kWh"]
    assert any("Electricity 0,3 → 0,35 per kWh" in t for t in shown(line))


@pytest.mark.parametrize("language", ["de-DE", "en-GB", "fr", "de-CH"])
@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("load_w", 320.5),
        ("allowed_hold_off_s", [60, 90.5, 1200]),
        ("allowed_target_lx", [300.25]),
        ("spot_readings", [{"output_pct": 100, "task_lx": 560.5, "detector_lx": 430.25}]),
        ("spot_readings", [{"output_pct": 0, "task_lx": 80.5, "time": "2026-03-05T20:10:00"}]),
        ("power_curve", [[0, 2.5], [100, 320.5]]),
    ],
)
def test_what_a_field_shows_is_read_again_as_it_was(language, key, value):
    field = next(f for f in (*CHANNEL, *SITE) if f.key == key)
    with Flask("x").test_request_context(headers={"Accept-Language": language}):
        text = facts_parts._shown(field, value)

    assert read(field, text) == value
    assert read(field, written(field, value)) == value
    if language == "de-DE" and key != "allowed_target_lx":
        assert POINT.search(text) is None


def test_an_edit_is_told_in_the_readers_numbers(german):
    path = ("rooms", "r101", "channels", "wall", "load_w")
    edit = buildings.Change(path, 320.5, 410.25, added=False, removed=False)

    assert facts_parts.told(edit) == "r101 · wall: Load at full output 320,5 W → 410,25 W"
    assert documents.telling(path)

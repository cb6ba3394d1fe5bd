"""The pages' own logic: ranking, search, words, days, addresses; callbacks called directly or through one round trip."""

import datetime as dt
import json
import socket
import threading
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from dash.exceptions import PreventUpdate
from flask import Flask
from plotly.utils import PlotlyJSONEncoder

from dashboard import ids, reader, words
from dashboard.app import create_app
from dashboard.components import marks
from dashboard.desk import WorkspaceStores
from dashboard.pages.building import callbacks as building
from dashboard.pages.building.ranking import attention, rooms, select
from dashboard.pages.building.rows import table_data
from dashboard.pages.room import callbacks as room
from dashboard.pages.room import context
from dashboard.pages.room.parts import day_options, telling_day
from dashboard.pages.room.sections import days
from dashboard.serve import Listening, demo_folder, serve
from dashboard.store import FixedStore, FolderStore
from dashboard.workspace import Workspace
from dashboard.workspace.errors import RefusedError
from tests.dashboard import synthetic
from tuning.errors import LogError, SiteError
from tuning.results import Finding


@pytest.fixture(scope="module")
def store(analysis):
    return FixedStore(analysis)


def texts(element):
    """All text in an element."""
    if element is None:
        return ""
    if isinstance(element, str | int | float):
        return str(element)
    if isinstance(element, list | tuple):
        return " ".join(texts(e) for e in element)
    return texts(getattr(element, "children", None))


def test_rooms_worth_most_come_first_and_what_must_be_mended_before_all(analysis):
    order = [r.room for r in select(rooms(analysis), query="", decisions=(), sort="worth")]

    assert order == ["r103/b", "r102", "r101", "r104"]


def test_a_channel_that_is_kept_adds_no_worth(analysis):
    reading_room = next(r for r in rooms(analysis) if r.room == "r101")

    assert reading_room.worth == pytest.approx(reading_room.channels[0].worth_per_week)


@pytest.mark.parametrize(
    ("query", "decisions", "found"),
    [
        ("seminar", (), ["r102"]),
        ("READING window", (), ["r103/b", "r102", "r101", "r104"]),
        ("no-motion", (), ["r104"]),
        ("", ("keep", "trial"), ["r102", "r101"]),
        ("seminar", ("keep",), []),
    ],
)
def test_search_wants_every_word_and_any_of_the_decisions(analysis, query, decisions, found):
    rows = select(rooms(analysis), query=query, decisions=decisions, sort="worth")

    if query == "READING window":
        assert [(r.room, [c.channel for c in r.channels]) for r in rows] == [("r101", ["window"])]
    else:
        assert [r.room for r in rows] == found


def test_orders_differ(analysis):
    nuisance = [r.room for r in select(rooms(analysis), query="", decisions=(), sort="nuisance")]
    named = [r.name for r in select(rooms(analysis), query="", decisions=(), sort="name")]

    assert nuisance[0] == "r102"
    assert named == sorted(named, key=str.casefold)
    assert next(r.room for r in select(rooms(analysis), query="", decisions=(), sort="nonsense")) == "r103/b"


def test_attention_leaves_out_what_the_recommended_setting_answers(analysis):
    found = (
        Finding("hold-off-too-short", "warning", "too short"),
        Finding("lamp-not-seen", "warning", "not seen"),
        Finding("stuck", "blocking", "stuck"),
        Finding("note", "info", "note"),
    )
    one = replace(analysis, channels=(replace(synthetic.channel(), findings=found),))
    kept = replace(one, channels=(replace(one.channels[0], recommended=one.channels[0].current),))

    assert [f.code for _, f in attention(one)] == ["stuck", "lamp-not-seen"]
    assert [f.code for _, f in attention(kept)] == ["stuck", "hold-off-too-short", "lamp-not-seen"]


def test_the_list_gets_settings_rates_worth_and_findings_as_plain_numbers(analysis):
    data = table_data(analysis, "harbour")
    row = data["rooms"][0]["channels"][0]

    assert json.loads(json.dumps(data)) == data
    assert (row["channel"], row["href"]) == ("wall", "/building/harbour/room/r101?channel=wall")
    assert (row["hold"], row["target"], row["decision"]) == ([300.0, 600.0], [500.0, 400.0], "change")
    assert row["false"] == [pytest.approx(300 * 0.2**1.8, rel=1e-3), pytest.approx(300 * 0.1**1.8, rel=1e-3)]
    assert row["worth"] == pytest.approx(analysis.channels[0].worth_per_week, rel=1e-3)
    assert row["findings"][0][:2] == ["triggers without people", "warning"]
    assert row["attention"]


def test_the_list_claims_no_worth_for_what_stays_and_no_rate_where_there_is_none(analysis):
    rows = {f"{r['room']}/{c['channel']}": c for r in table_data(analysis, "")["rooms"] for c in r["channels"]}

    assert rows["r101/window"]["worth"] is None
    assert (rows["r104/fan"]["false"], rows["r104/fan"]["hold"]) == ([None, None], [None, None])


@pytest.mark.parametrize(
    ("language", "text"),
    [
        ("de-DE,de;q=0.9", "EUR\u00a01.234,5"),
        ("en-GB", "EUR\u00a01,234.5"),
        ("fr", "EUR\u00a01\u202f234,5"),
        ("de-CH", "EUR\u00a01’234.5"),
    ],
)
def test_numbers_follow_the_readers_language(language, text):
    with Flask("x").test_request_context(headers={"Accept-Language": language}):
        assert f"EUR\u00a0{reader.number(1234.5, 1)}" == text


def test_while_there_is_no_analysis_the_pages_wait():
    waiting = FolderStore(Path("nowhere"))

    with pytest.raises(PreventUpdate):
        building.store_of(waiting, "")
    with pytest.raises(PreventUpdate):
        room.room_text(waiting, {"room": "r101", "channel": "", "day": ""})


@pytest.mark.parametrize(
    ("place", "said"),
    [
        ({"room": "r9", "channel": ""}, "This building has no room “r9”."),
        ({"room": "r101", "channel": "floor"}, "Reading room has no channel “floor”."),
    ],
)
def test_an_address_that_names_nothing_is_a_sentence(store, place, said):
    head, *_rest, body_hidden = room.room_text(store, place | {"day": ""})

    assert said in texts(head)
    assert body_hidden


def test_a_room_without_a_channel_in_its_address_opens_its_first(store):
    assert context.find(store, {"room": "r101", "channel": "", "day": ""}).channel.channel == "wall"


def test_a_channel_without_motion_has_a_page(store):
    place = {"room": "r104", "channel": "fan", "day": ""}

    assert "The logs hold no motion of this channel." in texts(room.room_text(store, place)[1])
    assert days.choose_day(store, place, None, trigger=None, click=None) == ([], None)


def test_the_first_day_shown_is_the_one_with_most_left_in_the_dark(store, channel):
    _, raster = store.pictures(channel)
    best = raster.left.group_by("day").len().sort("len")["len"][-1]

    assert raster.left.filter(raster.left["day"] == telling_day(raster)).height == best


def test_days_to_choose_from_say_how_many_were_left_in_the_dark(store, channel):
    _, raster = store.pictures(channel)
    day = telling_day(raster)
    option = next(o for o in day_options(raster) if o["value"] == day.isoformat())

    count = raster.left.filter(raster.left["day"] == day).height
    assert option["label"].endswith(f", {count} left in the dark")
    assert len(day_options(raster)) == len(raster.days)


@pytest.mark.parametrize(
    ("trigger", "click", "chosen", "expected"),
    [
        (None, None, None, "2026-03-18"),
        (ids.RASTER, {"points": [{"y": "2026-03-24"}]}, "2026-03-20", "2026-03-24"),
        (ids.RASTER, {"points": [{"y": "nonsense"}]}, "2026-03-20", None),
    ],
)
def test_a_day_is_chosen_by_address_or_click(store, channel, trigger, click, chosen, expected):
    place = {"room": "r101", "channel": "wall", "day": "2026-03-18"}

    _, day = days.choose_day(store, place, chosen, trigger=trigger, click=click)

    assert day == (expected or telling_day(store.pictures(channel)[1]).isoformat())


def test_an_address_survives_any_name():
    assert ids.room_href("r1/b ü?", "wall & window", "2026-03-18") == (
        "/room/r1%2Fb%20%C3%BC%3F?channel=wall+%26+window&day=2026-03-18"
    )


def test_the_text_to_copy_holds_settings_and_reasons(analysis, channel):
    text = words.plain_summary(channel, analysis)

    assert "Change: hold-off 5 min → 10 min, target 500 lx → 400 lx, mode auto-on" in text
    assert all(reason in text for reason in channel.reasons)
    assert "\xa0" not in text


@pytest.mark.parametrize(
    ("value", "text"), [(0.0, "0"), (0.0049, "0"), (0.005, "0.01"), (0.94, "0.94"), (4.84, "4.8"), (122.4, "122")]
)
def test_weekly_rates_have_no_false_digits(value, text):
    assert words.weekly(value) == text


def test_worth_is_not_claimed_for_settings_that_stay(analysis):
    kept = analysis.channels[1]

    assert words.worth(kept, "EUR") == words.NONE


def test_sensitivity_marks_the_value_in_use(analysis, channel):
    cost, price = words.sensitivities(channel, analysis)

    assert (cost.values[cost.base], price.values[price.base]) == ("0.35", "0.30")
    assert [h.replace("\xa0", " ") for h in cost.cheapest] == ["5 min", "10 min", "10 min", "15 min", "20 min"]


def test_evidence_has_units_and_local_times(channel):
    assert words.evidence(channel.findings[0], synthetic.ZONE) == [
        ("times", "Tue 17 Mar 2026, 02:12:00"),
        ("nights", "9"),
    ]
    assert words.evidence(channel.findings[1], synthetic.ZONE) == [("resolution [s]", "10")]


def test_times_of_a_finding_open_the_minutes_around_them(channel):
    drawn = json.dumps(
        marks.finding(channel.findings[0], synthetic.ZONE, of_channel="wall & window").to_plotly_json(),
        cls=PlotlyJSONEncoder,
    )

    assert "Tue 17 Mar 2026, 02:12:00" in drawn
    assert "?channel=wall+%26+window&day=2026-03-17&from=2026-03-17T01%3A42%3A00&to=2026-03-17T02%3A42%3A00#" in drawn


def test_a_folder_is_analysed_beside_the_pages_and_reports_how_far_it_is(analysis):
    go, begun = threading.Event(), threading.Event()

    def analyse(_folder, *, progress):
        progress(0.25, "reading logs")
        begun.set()
        go.wait(10)
        return analysis

    store = FolderStore(Path("x"), analyse=analyse)
    store.start()
    assert begun.wait(10)
    assert (store.load().state, store.load().share, store.load().what) == ("loading", 0.25, "reading logs")
    assert store.analysis() is None
    go.set()

    assert store.wait(10).state == "ready"
    assert store.load().version == 1
    assert store.analysis() is analysis


def test_a_log_that_cannot_be_read_is_told_and_no_defect():
    def analyse(_folder, *, progress):
        raise LogError(Path("store.csv"), "row 812", "'abc' is not a number", "A value is a number", "Correct the row")

    store = FolderStore(Path("x"), analyse=analyse)
    store.start()
    load = store.wait(10)

    assert (load.state, load.defect) == ("failed", False)
    assert load.what == "store.csv, row 812: 'abc' is not a number. A value is a number. Correct the row."


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_defect_does_not_leave_the_page_waiting_for_ever():
    def analyse(_folder, *, progress):
        raise ZeroDivisionError

    store = FolderStore(Path("x"), analyse=analyse)
    store.start()

    assert store.wait(10).defect


def test_the_application_answers_and_refuses_nothing_it_serves(store):
    client = create_app(store).server.test_client()

    page = client.get("/room/r101?channel=wall")
    assert page.status_code == 200
    assert "prefers-color-scheme" in page.text
    assert client.get("/_dash-layout").status_code == 200


def shown_at(app, path):
    outputs = [{"id": "_pages_content", "property": "children"}, {"id": "_pages_store", "property": "data"}]
    place = [("pathname", path), ("search", "")]
    asked = {
        "output": ".._pages_content.children..._pages_store.data..",
        "outputs": outputs,
        "inputs": [{"id": "_pages_location", "property": p, "value": v} for p, v in place],
        "changedPropIds": ["_pages_location.pathname"],
    }
    answer = app.server.test_client().post(
        "/_dash-update-component", json=asked, headers={"Sec-Fetch-Site": "same-origin"}
    )
    assert answer.status_code == 200
    return json.dumps(answer.json["response"]["_pages_content"])


@pytest.mark.parametrize("last", ["one building", "a workspace"])
def test_two_applications_of_one_process_show_their_own_pages(store, tmp_path, last):
    with closing(Workspace(tmp_path / "ws")) as ws:
        if last == "a workspace":
            one, many = create_app(store), create_app(WorkspaceStores(ws))
        else:
            many, one = create_app(WorkspaceStores(ws)), create_app(store)

        assert ids.BUILDING_DATA in shown_at(one, "/")
        assert ids.BUILDINGS_SEEN not in shown_at(one, "/")
        assert ids.BUILDINGS_SEEN in shown_at(many, "/")
        assert ids.CALIBRATED in shown_at(many, ids.CALIBRATION)
        for path in (ids.CALIBRATION, ids.logs_href("b"), ids.facts_href("b")):
            assert "Not here" in shown_at(one, path)
            assert "Not here" not in shown_at(many, path)


def test_no_script_or_style_of_a_page_comes_from_elsewhere(store):
    text = create_app(store).server.test_client().get("/").text

    assert "http://" not in text.replace("http://127.0.0.1", "")
    assert "https://" not in text


def test_a_folder_of_something_else_is_refused_before_anything_is_served(tmp_path):
    (tmp_path / "thesis.txt").write_text("x", encoding="utf-8")

    with pytest.raises(RefusedError, match="neither a workspace nor a building folder"):
        serve(tmp_path, Listening(port=1))
    with pytest.raises(SiteError):
        (tmp_path / "site.toml").write_text("[site]", encoding="utf-8")
        serve(tmp_path, Listening(port=1))


def test_a_taken_port_is_named_with_a_way_out():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]

        with pytest.raises(
            OSError, match=f"port {port} of 127.0.0.1 cannot be opened .* choose another one with --port"
        ):
            serve(demo_folder(), Listening(port=port))


def test_the_demo_building_is_found_in_a_checkout():
    assert (demo_folder() / "site.toml").is_file()


def test_days_from_addresses_are_read_or_ignored():
    assert days.as_day("2026-03-18") == dt.date(2026, 3, 18)
    assert days.as_day("18 March") is None
    assert days.as_day(None) is None

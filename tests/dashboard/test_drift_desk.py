"""Drift in the workspace: kept with the analysis, told on the building page, acknowledged, taken back, and counted again on new evidence."""

import dataclasses
import datetime as dt
import functools
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import expect

from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.workspace import acknowledging, analyses, decisions, drifts
from dashboard.workspace import inputs as given
from dashboard.workspace.acknowledging import evidence_of, new_evidence
from dashboard.workspace.decisions import Choice
from dashboard.workspace.drifts import RoomDrift
from dashboard.workspace.errors import ConflictError, ReasonNeededError, RefusedError
from tests.dashboard import synthetic
from tests.dashboard.conftest import answering
from tests.dashboard.test_drift_page import FIRST, days
from tests.dashboard.workspaces import ANNA, BEN, begun
from tuning.site import Channel, Room, SettingsChange
from tuning.watching import watch_room
from tuning.watching.reference import ReferenceDays, reference_days

REFERENCE = ReferenceDays(FIRST, FIRST + dt.timedelta(days=42))


@functools.cache
def fell(lamp_after, room):
    return watch_room(room, {"wall": days(lamp_after)}, reference_to=REFERENCE.to)


def drifted(lamp_after=300.0, advice=(), room="r101"):
    """Lamps of a room that fell to a value after eight weeks."""
    watched = fell(lamp_after, room)
    return RoomDrift(watched, REFERENCE, tuple(advice), 2.5 if advice else 0.0)


def kept(ws, building, **found):
    """Keep an analysis with what was found; gives its number."""
    with ws.reading() as session:
        inputs = given.present(session, building)
    return analyses.keep(
        ws, building, synthetic.analysis(), inputs, by=ANNA, beside=lambda folder: drifts.write(found, folder)
    )


@pytest.fixture
def desk(tmp_path):
    ws, building = begun(tmp_path / "ws")
    advice = ["wall: hold-off 5 min → 10 min (change), worth 2.50 EUR a week."]
    yield ws, building, kept(ws, building, r101=drifted(advice=advice), r102=drifted(room="r102"))
    ws.close()


def test_what_is_kept_reads_back_the_same(tmp_path):
    found = {"r101": drifted(advice=["a"])}
    tmp_path.mkdir(exist_ok=True)

    drifts.write(found, tmp_path)

    assert drifts.read(tmp_path) == found


def test_a_room_is_for_another_look_only_where_another_setting_pays(desk):
    ws, building, number = desk

    found = acknowledging.standing(ws, building, number)

    assert (found["r101"].level, found["r102"].level) == ("look", "site")
    assert found["r101"].worth_another_look
    assert not found["r102"].worth_another_look


def test_an_acknowledgement_needs_a_reason_says_who_and_can_be_taken_back(database, desk):
    ws, building, number = desk
    with pytest.raises(ReasonNeededError):
        acknowledging.acknowledge(ws, building, "r101", analysis=number, reason=" ", by=ANNA)

    assert acknowledging.acknowledge(ws, building, "r101", analysis=number, reason="lamps ordered", by=ANNA) == 1

    [one] = acknowledging.standing(ws, building, number)["r101"].drifts
    assert (one.acknowledged.by, one.acknowledged.reason, one.counts) == (ANNA, "lamps ordered", False)
    with pytest.raises(ConflictError, match=ANNA):
        acknowledging.acknowledge(ws, building, "r101", analysis=number, reason="me too", by=BEN)
    acknowledging.take_back(ws, building, one.acknowledged.id, by=BEN)
    assert acknowledging.standing(ws, building, number)["r101"].level == "look"
    [record] = acknowledging.history(ws, building, "r101")
    assert (record.told.by, record.undone_by) == (ANNA, BEN)
    with pytest.raises(RefusedError, match=BEN):
        acknowledging.take_back(ws, building, one.acknowledged.id, by=ANNA)


def test_an_acknowledged_drift_counts_again_only_on_new_evidence(database, desk):
    ws, building, number = desk
    acknowledging.acknowledge(ws, building, "r102", analysis=number, reason="seen", by=ANNA)

    same = kept(ws, building, r102=drifted(room="r102"))
    assert acknowledging.standing(ws, building, same)["r102"].level == ""
    worse = kept(ws, building, r102=drifted(lamp_after=200.0, room="r102"))
    [one] = acknowledging.standing(ws, building, worse)["r102"].drifts
    assert one.counts
    assert "gone further" in one.again

    # Nobody acknowledges what they have not seen.
    with pytest.raises(ConflictError, match="newer analysis"):
        acknowledging.acknowledge(ws, building, "r102", analysis=same, reason="seen", by=ANNA)
    acknowledging.acknowledge(ws, building, "r102", analysis=worse, reason="seen again", by=BEN)
    assert acknowledging.standing(ws, building, worse)["r102"].level == ""


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"after": 420.0}, "other way"),
        ({"since": FIRST + dt.timedelta(days=70)}, "changed once more"),
        ({"after": 301.0}, ""),
        ({"after": 330.0}, ""),
    ],
)
def test_what_is_new_evidence(change, told):
    found = drifted()
    [drift] = found.watched.drifts
    known = evidence_of(drift, found)

    assert told in new_evidence(known, dataclasses.replace(drift, **change), found)
    assert bool(told) == bool(new_evidence(known, dataclasses.replace(drift, **change), found))


def test_a_setting_that_becomes_worth_a_visit_is_new_evidence():
    found = drifted()
    [drift] = found.watched.drifts

    assert "worth a visit" in new_evidence(evidence_of(drift, found), drift, drifted(advice=["a"]))


def room_set(*when):
    history = tuple(SettingsChange(**{"from": w, "hold_off_s": 600}) for w in when)
    return Room(use="office", channels={"a": Channel(settings_history=history), "b": Channel()})


def test_reference_days_begin_anew_the_day_after_a_room_was_last_set():
    zone = ZoneInfo("Europe/Copenhagen")
    never = reference_days(room_set(), zone, log_from=FIRST)
    late = dt.datetime(2026, 3, 1, 23, 30, tzinfo=dt.UTC)
    anew = reference_days(room_set(dt.date(2026, 2, 1), late), zone, log_from=FIRST)

    assert never == ReferenceDays(FIRST, FIRST + dt.timedelta(days=42))
    # Half past midnight there.
    assert anew.decided == dt.date(2026, 3, 2)
    assert (anew.first, anew.to) == (dt.date(2026, 3, 3), dt.date(2026, 4, 14))


def test_what_drifted_before_the_room_was_set_is_no_drift_after():
    anew = ReferenceDays(FIRST + dt.timedelta(days=57), FIRST + dt.timedelta(days=64))

    assert watch_room("r1", {"main": days(300.0)}, reference_to=REFERENCE.to).drifts
    assert not watch_room("r1", anew.of({"main": days(300.0)}), reference_to=anew.to).drifts


def test_a_room_set_on_site_since_counts_no_more(desk):
    ws, building, number = desk
    [made] = decisions.decide(ws, building, [Choice("r101", "wall", "accept", 0)], analysis=number, by=ANNA)
    decisions.mark_set(ws, building, {made.id: dt.datetime(2026, 4, 1, tzinfo=dt.UTC)}, set_by=ANNA, by=ANNA)

    found = acknowledging.standing(ws, building, number)

    assert found["r101"].decided_since == dt.date(2026, 4, 1)
    assert (found["r101"].level, found["r102"].level) == ("", "site")


@pytest.mark.width_by_turns
def test_the_building_page_tells_and_a_click_acknowledges_and_undoes(desk, page):
    ws, building, _ = desk
    with answering(create_app(WorkspaceStores(ws)).server) as url:
        page.goto(f"{url}/building/{building}")
        expect(page.locator(".drifting > li")).to_have_count(2)
        expect(page.locator(".drifting > li").first).to_contain_text("Worth another look")
        expect(page.locator(".attention")).to_contain_text("worth 2.50 EUR")
        page.locator("label.chip", has_text="Changed").click()
        expect(page.locator("#building-count")).to_contain_text("2 of")
        if page.locator("#who").is_visible():
            page.locator("#who").fill("Anna")
        row = page.locator(".drifting > li").first
        row.get_by_role("button", name="Acknowledge").click()
        expect(page.locator("#drift-told")).to_contain_text("reason is needed")
        row.locator("input").fill("New team moved in")
        row.get_by_role("button", name="Acknowledge").click()
        expect(page.locator(".drifting > li")).to_have_count(1)
        expect(page.locator("#building-count")).to_contain_text("1 of")
        page.get_by_text("1 acknowledged").click()
        expect(page.locator(".acknowledged")).to_contain_text("“New team moved in”")
        page.locator(".acknowledged button").click()
        expect(page.locator(".drifting > li")).to_have_count(2)
        assert page.complaints == []
        assert page.outside == []


@pytest.mark.width_by_turns
def test_of_many_changed_rooms_the_first_are_told_and_the_rest_is_fetched(tmp_path, page):
    ws, building = begun(tmp_path / "ws")
    names = [f"r{n}" for n in range(101, 109)]
    kept(ws, building, **{name: drifted(room=name) for name in names})
    rows, typed = page.locator(".drifting > li"), "Lamps ordered"
    with answering(create_app(WorkspaceStores(ws)).server) as url:
        page.goto(f"{url}/building/{building}")
        expect(page.get_by_text("8 rooms changed")).to_be_visible()
        expect(rows).to_have_count(5)
        if page.locator("#who").is_visible():
            page.locator("#who").fill("Anna")
        page.get_by_text("3 more changed").click()
        expect(rows).to_have_count(8)
        rows.nth(6).locator("input").fill(typed)
        page.get_by_text("3 more changed").click()
        expect(rows.nth(6)).to_be_hidden()
        page.get_by_text("3 more changed").click()
        expect(rows.nth(6).locator("input")).to_have_value(typed)
        rows.nth(6).get_by_role("button", name="Acknowledge").click()
        # Laid out anew, and as far as it had been opened.
        expect(page.get_by_text("2 more changed")).to_be_visible()
        expect(rows).to_have_count(7)
        expect(rows.nth(6)).to_be_visible()
        assert page.complaints == []
    ws.close()

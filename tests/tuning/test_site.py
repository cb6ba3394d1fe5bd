"""site.toml: every problem is one line that names the key, what was found, the rule and the remedy."""

import datetime as dt
from pathlib import Path

import pytest

from tests.building import SITE
from tuning.errors import SiteError
from tuning.room_uses import ROOM_USES
from tuning.site import DEFAULT_ALLOWED_HOLD_OFF_S, parse_site

PATH = Path("site.toml")
CONTRACT_USES = (
    *(
        "office",
        "open-plan office",
        "meeting room",
        "classroom",
        "lecture hall",
        "reading room",
        "reception",
        "canteen",
    ),
    *(
        "kitchen",
        "workshop",
        "sports hall",
        "corridor",
        "stairs",
        "toilet",
        "changing room",
        "store room",
        "plant room",
    ),
    *("copy room", "waiting area"),
)


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (('time_zone = "Europe/Copenhagen"\n', ""), "site.time_zone: the key is missing. It is required. add the key."),
        (("load_w = 200", "load_w = -1"), "rooms.a.channels.main.load_w: found -1."),
        (("hold_off_s = 300", 'hold_off_s = "five"'), "rooms.a.channels.main.hold_off_s: found 'five'."),
        (('use = "office"', 'use = "aviary"'), "required_illuminance_lx must be given"),
        (("load_w = 200", 'load_w = 200\nmode = "auto"'), "rooms.a.channels.main.mode: found 'auto'."),
        (("[rooms.a.channels.main]", "[rooms.a.channel.main]"), "rooms.a.channel: this key is not known."),
        (("[site]", "[site"), "not valid TOML"),
    ],
)
def test_a_problem_names_key_and_finding(change, text):
    with pytest.raises(SiteError) as error:
        parse_site(SITE.replace(*change), PATH)

    assert str(error.value).startswith("site.toml, ")
    assert text in str(error.value)


def test_defaults_are_those_of_the_contract():
    channel = parse_site(SITE, PATH).rooms["a"].channels["main"]

    assert channel.allowed_hold_off_s == DEFAULT_ALLOWED_HOLD_OFF_S == (60, 120, 180, 300, 600, 900, 1200, 1500, 1800)
    assert (channel.mode, channel.control, channel.standby_w) == ("auto-on", "dimmed", 0)


def test_every_room_use_of_the_contract_has_illuminance_and_a_floor():
    assert set(CONTRACT_USES) == set(ROOM_USES)
    for use in ROOM_USES.values():
        assert use.required_illuminance_lx >= use.minimum_target_lx > 0
        assert use.minimum_hold_off_s >= 60
        assert use.illuminance_source


def test_a_date_means_its_local_midnight():
    assert parse_site(SITE, PATH).local_to_utc(dt.date(2026, 7, 1)) == dt.datetime(2026, 6, 30, 22, tzinfo=dt.UTC)


def test_free_text_uses_are_accepted_with_an_illuminance():
    site = SITE.replace('use = "office"', 'use = "aviary"\nrequired_illuminance_lx = 250')

    assert parse_site(site, PATH).rooms["a"].required_lx == 250

"""Ids of elements that callbacks speak of, and the addresses of pages. Nothing else writes them out."""

from __future__ import annotations

import re
from typing import Final
from urllib.parse import quote, unquote, urlencode

# the frame around every page
MANTINE: Final = "mantine"
LOCATION: Final = "_pages_location"
"""The framework's own name for the address."""
POLL: Final = "poll"
"""Counts up when the server has news (``assets/news.js``), so that what tells them is read again."""
VERSION: Final = "analysis-version"
CHANGED: Final = "analysis-changed"
"""Number of the analysis with which what the page is about last changed; another room's word changes nothing here."""
FRAME_SHOWN: Final = "frame-shown"
"""Sum of what the frame around the page shows."""
STATUS: Final = "status"
SITE_NAME: Final = "site-name"
SCHEME: Final = "scheme"
SCHEME_CHOICE: Final = "scheme-choice"
SCHEME_BUTTON: Final = "scheme-button"
WHO: Final = "who"
"""Name of the person at the keyboard; kept by the browser."""
WHO_BOX: Final = "who-box"
BOOK: Final = "book"
"""Counts up whenever something was decided on this page, so that what shows decisions is read again."""
NAV: Final = "nav"
NEWS: Final = "news"
AGAIN: Final = "analyse-again"

# the list of buildings
BUILDINGS: Final = "buildings-list"
BUILDINGS_SEARCH: Final = "buildings-search"
BUILDINGS_SEEN: Final = "buildings-seen"
"""Sum of the list that the page shows, so that it is drawn anew only when something has changed, and nobody loses their place in it."""
NEW_NAME: Final = "new-name"
NEW_ZONE: Final = "new-zone"
NEW_MAKE: Final = "new-make"
NEW_TOLD: Final = "new-told"
NEW_GO: Final = "new-go"
BUILDING_OUT: Final = "building-out"
BUILDING_BACK: Final = "building-back"
BUILDINGS_TOLD: Final = "buildings-told"

# the logs of a building
LOGS: Final = "logs-place"
LOGS_FILES: Final = "logs-files"
LOGS_CHANGED: Final = "logs-changed"
"""Set by the browser when a file has arrived."""
DROP: Final = "logs-drop"
FILE_OUT: Final = "logs-file-out"
FILE_BACK: Final = "logs-file-back"
FILES_TOLD: Final = "logs-files-told"
SITE_FILE: Final = "site-file"
SITE_FILE_TEXT: Final = "site-file-text"
SITE_FILE_SEEN: Final = "site-file-seen"
"""Number of the file, and revision of the facts, that the page shows."""
SITE_FILE_GROUPS: Final = "site-file-groups"
SITE_FILE_TAKE: Final = "site-file-take"
SITE_FILE_TOLD: Final = "site-file-told"
MAPPING: Final = "mapping"
"""Numbers of the files that are to be looked at."""
DRAFT: Final = "mapping-draft"
MAPPING_USE: Final = "mapping-use"
MAPPING_TABLES: Final = "mapping-tables"
MAPPING_CELL: Final = "mapping-cell"
MAPPING_ROOMS: Final = "mapping-rooms"
MAPPING_CHECK: Final = "mapping-check"
MAPPING_SAVE: Final = "mapping-save"
MAPPING_TOLD: Final = "mapping-told"
JOB: Final = "logs-job"
JOB_START: Final = "logs-job-start"
JOB_STOP: Final = "logs-job-stop"
JOB_TOLD: Final = "logs-job-told"
FOLDER_STATE: Final = "folder-state"
FOLDER_FORM: Final = "folder-form"
FOLDER_PATH: Final = "folder-path"
FOLDER_WATCH: Final = "folder-watch"
FOLDER_STOP: Final = "folder-stop"
FOLDER_TOLD: Final = "folder-told"
OLD_NEWEST: Final = "old-newest"
OLD_DAYS: Final = "old-days"
OLD_LOOK: Final = "old-look"
OLD_PLAN: Final = "old-plan"
"""Numbers of the analyses that somebody was shown would go."""
OLD_TOLD: Final = "old-told"
OLD_GO: Final = "old-go"

# the facts of a building
FACTS: Final = "facts-place"
FACTS_FORM: Final = "facts-form"
FACTS_FIELD: Final = "facts-field"
FACTS_SAVE: Final = "facts-save"
FACTS_DISCARD: Final = "facts-discard"
FACTS_TOLD: Final = "facts-told"
FACTS_HISTORY: Final = "facts-history"
FACTS_UNDO: Final = "facts-undo"
FACTS_REVISION: Final = "facts-revision"
FACTS_ROOM: Final = "facts-room"
FACTS_ADD_ROOM: Final = "facts-add-room"
FACTS_ADD_CHANNEL: Final = "facts-add-channel"
FACTS_NEW: Final = "facts-new"
FACTS_DROP: Final = "facts-drop"

# the building
BUILDING: Final = "building-place"
BUILDING_HEAD: Final = "building-head"
BUILDING_BALANCE: Final = "building-balance"
BUILDING_ATTENTION: Final = "building-attention"
BUILDING_ROWS: Final = "building-rows"
BUILDING_DATA: Final = "building-data"
BUILDING_DRAWN: Final = "building-drawn"
BUILDING_ACTIONS: Final = "building-actions"
BUILDING_LOGS: Final = "building-logs"
BUILDING_STARTING: Final = "building-starting"
STARTING_TAKE: Final = "starting-take"
STARTING_UNDO: Final = "starting-undo"
STARTING_TOLD: Final = "starting-told"
BUILDING_DRIFT: Final = "building-drift"
DRIFT_ACKNOWLEDGE: Final = "drift-acknowledge"
DRIFT_REASON: Final = "drift-reason"
DRIFT_BACK: Final = "drift-back"
DRIFT_TOLD: Final = "drift-told"
DRIFT_MORE: Final = "drift-more"
DRIFT_REST: Final = "drift-rest"
DRIFT_OPEN: Final = "drift-open"
DRIFT_ANCHOR: Final = "has-the-room-changed"
"""Name of the room page's section in addresses."""
DECIDE_ACCEPT: Final = "building-accept"
DECIDE_ADJUST: Final = "building-adjust"
DECIDE_REJECT: Final = "building-reject"
DECIDE_HOLD: Final = "building-decide-hold"
DECIDE_REASON: Final = "building-decide-reason"
DECIDE_FORM: Final = "building-decide-form"
DECIDE_TOLD: Final = "building-decide-told"
DECIDE_UNDO: Final = "building-decide-undo"
DECIDE_BATCH: Final = "building-decide-batch"
"""What the last click decided, so that it can be taken back."""
SELECTION: Final = "building-selection"
"""``[room, channel]`` of each channel that is ticked in the list; written by the browser."""

# a year for the owner
OWNER: Final = "owner-place"
OWNER_BODY: Final = "owner-body"

# the settings sheet
SHEET: Final = "sheet-place"
SHEET_HEAD: Final = "sheet-head"
SHEET_ROWS: Final = "sheet-rows"
SHEET_FORM: Final = "sheet-form"
SHEET_TOLD: Final = "sheet-told"
SHEET_WHEN: Final = "sheet-when"
SHEET_BY: Final = "sheet-by"
SHEET_NOTE: Final = "sheet-note"
SHEET_SET: Final = "sheet-set"
SHEET_TICK: Final = "sheet-tick"
SHEET_UNSET: Final = "sheet-unset"

# what came of what was set
VERIFIED: Final = "verified-place"
VERIFIED_BODY: Final = "verified-body"
CALIBRATED: Final = "calibrated-place"
CALIBRATED_BODY: Final = "calibrated-body"
CALIBRATION: Final = "/predictions"
"""Address of the page that holds predictions against outcomes."""

# a room
ROOM: Final = "room-place"
ROOM_FIRST: Final = "room-place-first"
"""The same, once the first figure is there: what lies further down the page waits for what is seen first."""
ROOM_HEAD: Final = "room-head"
ROOM_CARD: Final = "room-card"
ROOM_ASIDE: Final = "room-aside"
ROOM_NUMBERS: Final = "room-numbers"
DELAY: Final = "room-delay"
RASTER: Final = "room-raster"
DAY: Final = "room-day"
DAY_CHOICE: Final = "room-day-choice"
DAY_BACK: Final = "room-day-back"
DAY_ON: Final = "room-day-on"
GAPS: Final = "room-gaps"
DRIFT: Final = "room-drift"
DRIFT_WORDS: Final = "room-drift-words"
MODE: Final = "room-mode"
TARGET: Final = "room-target"
TARGET_BOX: Final = "room-target-box"
TASK: Final = "room-task"
TASK_BOX: Final = "room-task-box"
LIGHT_DAY: Final = "room-light-day"
LIGHT_DAY_BOX: Final = "room-light-day-box"
SEASON: Final = "room-season"
SEASON_BOX: Final = "room-season-box"
RASTER_KEY: Final = "room-raster-key"
DAY_KEY: Final = "room-day-key"
ROOM_URL: Final = "room-url"
WINDOW: Final = "room-window"
"""What the figure along time shows: ``first`` and ``last`` on the building's clock."""
TIME_EARLIER: Final = "room-time-earlier"
TIME_LATER: Final = "room-time-later"
TIME_IN: Final = "room-time-in"
TIME_OUT: Final = "room-time-out"
TIME_ALL: Final = "room-time-all"
CHANNEL_BOX: Final = "room-decide"
CHANNEL_STANDS: Final = "room-decide-stands"
CHANNEL_SEEN: Final = "room-decide-seen"
"""Revision and decision that the page shows."""
CHANNEL_ACCEPT: Final = "room-accept"
CHANNEL_ADJUST: Final = "room-adjust"
CHANNEL_REJECT: Final = "room-reject"
CHANNEL_UNDO: Final = "room-undo"
CHANNEL_REASON: Final = "room-reason"
CHANNEL_TOLD: Final = "room-told"
SAY_PRESENT: Final = "room-say-present"
SAY_ABSENT: Final = "room-say-absent"
SAY_UNDO: Final = "room-say-undo"
SAY_BOX: Final = "room-say"
SAY_TOLD: Final = "room-say-told"
TRY: Final = "room-try"
TRY_DATA: Final = "room-try-data"
TRY_DRAWN: Final = "room-try-drawn"
TRY_BOX: Final = "room-try-box"
TRIED: Final = "room-tried"
"""Settings that somebody tries: ``hold_off_s``, ``target_lx``; written by the browser."""
OFF: Final = "room-off"
"""The switch-off looked at, ISO 8601 UTC."""
OFF_LIST: Final = "room-off-list"
OFF_ROW: Final = "room-off-row"
OFF_PLOT: Final = "room-off-plot"
OFF_FACTS: Final = "room-off-facts"
OFF_BACK: Final = "room-off-back"
OFF_ON: Final = "room-off-on"
OFF_BOX: Final = "room-off-box"
ROOM_BODY: Final = "room-body"


def later(name: str) -> str:
    """Place of sections that are put there when they come near.

    Examples
    --------
    >>> later("light"), near("light"), later_parts("light")
    ('room-later-light', 'room-near-light', 'room-parts-light')
    """
    return f"room-later-{name}"


def near(name: str) -> str:
    """Whether they are near."""
    return f"room-near-{name}"


def later_parts(name: str) -> str:
    """What will be there, as data."""
    return f"room-parts-{name}"


def building_href(building: str = "") -> str:
    """Address of a building's page; a server of one building has it at its root.

    Examples
    --------
    >>> building_href("harbour-house"), building_href()
    ('/building/harbour-house', '/')
    """
    return f"/building/{quote(building, safe='')}" if building else "/"


def sheet_href(building: str) -> str:
    """Address of a building's settings sheet.

    Examples
    --------
    >>> sheet_href("harbour-house")
    '/building/harbour-house/settings'
    """
    return f"{building_href(building)}/settings"


def report_href(building: str) -> str:
    """Address of the page with a building's year."""
    return f"{building_href(building)}/report"


def verification_href(building: str) -> str:
    """Address of the page that says what came of what was set."""
    return f"{building_href(building)}/verification"


def logs_href(building: str) -> str:
    """Address of the page that brings a building's logs in."""
    return f"{_under(building)}/logs"


def facts_href(building: str) -> str:
    """Address of the page with a building's facts."""
    return f"{_under(building)}/facts"


def room_href(room: str, channel: str | None = None, day: str | None = None, *, building: str = "") -> str:
    """Address of a room page.

    Examples
    --------
    >>> room_href("r1/b", "wall"), room_href("r2", building="harbour-house")
    ('/room/r1%2Fb?channel=wall', '/building/harbour-house/room/r2')
    """
    query = {k: v for k, v in (("channel", channel), ("day", day)) if v}
    return f"{_under(building)}/room/{quote(room, safe='')}" + (f"?{urlencode(query)}" if query else "")


def building_of(path: str | None) -> str:
    """Read the building out of an address; empty where it names none.

    Examples
    --------
    >>> building_of("/building/a%20b/room/r1"), building_of("/room/r1"), building_of("/building/a?show=keep")
    ('a b', '', 'a')
    """
    found = re.match(r"/building/([^/?#]+)", path or "")
    return unquote(found[1]) if found else ""


def room_of(path: str | None) -> str:
    """Read the room out of an address; empty where it names none.

    Examples
    --------
    >>> room_of("/building/a/room/r1%2Fb?channel=x"), room_of("/room/r1"), room_of("/building/a")
    ('r1/b', 'r1', '')
    """
    found = re.match(r"(?:/building/[^/?#]+)?/room/([^/?#]+)", path or "")
    return unquote(found[1]) if found else ""


def _under(building: str) -> str:
    return building_href(building) if building else ""

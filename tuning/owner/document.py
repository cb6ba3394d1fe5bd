"""The owner's report as JSON for other programs, and the sentences that say how it was made."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from tuning.owner.occupancy import IN_USE
from tuning.owner.report import OwnerReport, RoomReport
from tuning.owner.year import WEEKS_A_YEAR, YearFigures

QUARTER = 0.25


def report_document(report: OwnerReport) -> dict[str, Any]:
    """Return the whole report; a year's figures with their units in the names."""
    return {
        "site": report.site,
        "generated": report.made.isoformat(),
        "version": report.version,
        "span": {"start": _iso(report.start), "end": _iso(report.end)},
        "currency": report.currency,
        "electricity_price": report.electricity_price,
        "cost_per_false_off": report.cost_per_false_off,
        "emission_factor_kg": report.emission_factor_kg,
        "settings_then": report.advised,
        "per_year": {"now": _year(report, report.now), "then": _year(report, report.then)},
        "worth_per_year": _round(report.worth),
        "worth_per_year_range": None if report.worth_range is None else [_round(v) for v in report.worth_range],
        "leni_kwh_m2": {
            "now": _round(report.leni_now),
            "then": _round(report.leni_then),
            "en15193_tables": _round(report.leni_table),
            "now_where_tables_know_the_use": _round(report.leni_tabled_now),
            "area_m2": _round(report.area_m2),
        },
        "operating_h_per_week": report.operating_h,
        "channels": report.channels,
        "channels_scaled_with_season": report.seasons,
        "channels_metered": report.metered,
        "rooms": [_room(report, r) for r in report.rooms],
        "missing": [asdict(m) | {"rooms": list(m.rooms)} for m in report.missing],
        "method": [f"{head} {text}" for head, text in method(report)],
    }


def method(report: OwnerReport) -> tuple[tuple[str, str], ...]:
    """Say how the figures were made and where they end: pairs of what and how."""
    season = (
        f"for {report.seasons} of {report.channels} channels by the season too: the daylight of other months is worked out from the sun's "
        "position and what the log shows of it. The other channels are taken to be the whole year as they were in the log"
        if report.seasons
        else "no channel could be scaled with the season, so the log's weeks stand for the whole year"
    )
    busy = "a quarter" if IN_USE == QUARTER else f"{IN_USE:.0%}"
    return (
        (
            "Energy.",
            f"Counted from the logs, for {report.metered} of {report.channels} channels from a meter, for the others from the logged output and the "
            f"installed power. A week is multiplied by {WEEKS_A_YEAR:.2f}; {season}. Holidays outside the log are not known.",
        ),
        (
            "LENI.",
            "Energy of the light, standby included, over the floor area (W/A of EN 15193). By the standard: its hours and absence by use of the "
            "room, without daylight (F_D = 1) and parasitic energy; the tables are given from memory.",
        ),
        (
            "Occupancy.",
            f"Counted in operating time, the {report.operating_h:.0f} hours of the week in which the rooms are on average occupied at least "
            f"{busy} as much as in the busiest hour. Absent (F_A): nobody there, moving or keeping still. Held on (F_O): movement and the hold-off "
            "after it. Daylight is no part of either.",
        ),
        (
            "Limits.",
            "False-offs, wasted light and what other settings bring are estimates with the doubt of the log; beyond the hold-off in force they "
            "are extrapolated. Hours in the dark: false-offs times the mean time until the person left in the dark moved. What manual-on "
            "would save is not counted.",
        ),
    )


def _year(report: OwnerReport, year: YearFigures) -> dict[str, Any]:
    return {
        "energy_kwh": _round(year.energy_kwh),
        "light_kwh": _round(year.light_kwh),
        "energy_cost": _round(report.cost(year)),
        "co2e_kg": _round(report.co2e_kg(year)),
        "false_offs": _round(year.false_offs),
        "wasted_on_h": _round(year.wasted_on_h),
        "dark_h": _round(year.dark_h),
    }


def _room(report: OwnerReport, r: RoomReport) -> dict[str, Any]:
    seen = r.occupancy
    return {
        "room": r.room,
        "name": r.name,
        "use": r.use,
        "area_m2": r.area_m2,
        "load_w": r.load_w,
        "channels": r.channels,
        "usable_days": _round(r.usable_days),
        "changed": r.changed,
        "per_year": {"now": _year(report, r.now), "then": _year(report, r.then)},
        "leni_kwh_m2": {"now": _round(r.leni_now), "then": _round(r.leni_then), "en15193_tables": _round(r.leni_table)},
        "absence_factor": None if seen is None else _round(seen.absence),
        "occupancy_factor": {
            "now": None if seen is None else _round(seen.factor),
            "then": _round(r.occupancy_then),
            "en15193_tables": _round(r.occupancy_table),
            "en15193_with_measured_absence": None if seen is None else _round(seen.formula),
        },
        "channels_scaled_with_season": r.seasons,
    }


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def _iso(when: Any) -> str | None:
    return None if when is None else when.isoformat()

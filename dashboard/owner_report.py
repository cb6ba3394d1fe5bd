"""The owner's report as one self-contained page, fit to print on A4. Light only; numbers in the signs of the reader's language."""

from __future__ import annotations

import datetime as dt
from html import escape
from zoneinfo import ZoneInfo

from dashboard import words
from dashboard.owner_style import STYLE
from dashboard.reader import language, number
from tuning.owner import OwnerReport, RoomReport, YearFigures
from tuning.owner.document import method

LARGEST = 10
"""Rooms shown, those that take most energy."""
THEN = {"recommended": "as recommended", "accepted": "as accepted"}
CAUTION = (
    "Settings only by authorised people. Mains wiring only by licensed electricians, dead and proven dead. Emergency and escape lighting is never "
    "governed by these settings. Local codes prevail."
)


def page(report: OwnerReport) -> str:
    """Write the report.

    Parameters
    ----------
    report
        A building's year.

    Returns
    -------
    An HTML document. Every name that comes from outside is escaped; nothing is loaded from anywhere.
    """
    parts = [_head(report), _headline(report), _balance(report), _rooms(report), _missing(report), _method(report)]
    return (
        f"<!doctype html>\n<html lang='en' data-numbers='{escape(language())}'><head><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<title>{escape(report.site)}: a year of light</title>\n<style>{STYLE}</style></head>\n<body><main>"
        + "\n".join(parts)
        + "</main></body></html>\n"
    )


def _day(when: dt.datetime, zone: str) -> str:
    local = when.astimezone(ZoneInfo(zone))
    return f"{local.day} {local:%B %Y}"


def _head(r: OwnerReport) -> str:
    span = ""
    if r.start is not None and r.end is not None:
        span = f"From logs of {_day(r.start, r.time_zone)} to {_day(r.end, r.time_zone)}, {r.channels} channels in {len(r.rooms)} rooms. "
    return (
        f"<header><h1>{escape(r.site)}</h1><p class='lead'>A year of light: as it is, and with the settings {THEN[r.advised]}</p>"
        f"<p class='soft'>{span}Made {_day(r.made, r.time_zone)}, holdoff {escape(r.version)}.</p></header>"
    )


def change(now: float, then: float, digits: int = 0) -> str:
    """Write how much less or more, with its sign; ±0 where the digits show none.

    Examples
    --------
    >>> change(120.0, 100.0), change(3.0, 3.2, 1), change(1.0, 1.0)
    ('−20', '+0.2', '±0')
    """
    size = number(abs(then - now), digits)
    if float(f"{abs(then - now):.{digits}f}") == 0:
        return "±0"
    return ("−" if then < now else "+") + size


def share(now: float, then: float) -> str:
    """Write a change in percent; empty where there was nothing."""
    if now <= 0:
        return ""
    percent = 100 * (then / now - 1)
    return "±0 %" if abs(percent) < 0.5 else f"{'−' if percent < 0 else '+'}{number(abs(percent))} %"


def _headline(r: OwnerReport) -> str:
    cost_now, cost_then = r.cost(r.now), r.cost(r.then)
    cards = [
        (
            "Electricity a year",
            f"{number(r.now.energy_kwh)} → <b>{number(r.then.energy_kwh)}</b> kWh",
            f"{share(r.now.energy_kwh, r.then.energy_kwh)}, {escape(r.currency)} {change(cost_now, cost_then)}",
        ),
        ("Hours in the dark a year", *_dark(r)),
        ("LENI", *_leni(r)),
        ("Worth a year", *_worth(r)),
    ]
    inner = "".join(
        f"<div><dt>{head}</dt><dd class='big'>{big}</dd><dd class='soft'>{small}</dd></div>"
        for head, big, small in cards
    )
    return f"<dl class='cards'>{inner}</dl>"


def _dark(r: OwnerReport) -> tuple[str, str]:
    avoided = r.now.dark_h - r.then.dark_h
    told = (
        f"{number(abs(avoided), 1)} h {'avoided' if avoided >= 0 else 'more'}" if abs(avoided) >= 0.05 else "unchanged"
    )
    return f"{number(r.now.dark_h, 1)} → <b>{number(r.then.dark_h, 1)}</b> h", told


def _leni(r: OwnerReport) -> tuple[str, str]:
    if r.leni_now is None or r.leni_then is None:
        return "–", "needs floor areas and installed power"
    return f"{number(r.leni_now, 1)} → <b>{number(r.leni_then, 1)}</b>", f"kWh/m² a year, over {number(r.area_m2)} m²"


def _worth(r: OwnerReport) -> tuple[str, str]:
    value = f"<b>{escape(words.money(round(r.worth), r.currency).removesuffix('.00'))}</b>"
    if r.worth_range is None:
        return value, "nuisance, waste and targets"
    return value, f"90 % range {number(r.worth_range[0])} to {number(r.worth_range[1])}"


def rows(r: OwnerReport) -> list[tuple[str, str, str, str, str]]:
    """The building's year as text: what, unit, now, then, change."""

    def one(what: str, unit: str, now: float, then: float, digits: int = 0) -> tuple[str, str, str, str, str]:
        return what, unit, number(now, digits), number(then, digits), change(now, then, digits)

    def of(what: str, unit: str, field: str, digits: int = 0) -> tuple[str, str, str, str, str]:
        return one(what, unit, getattr(r.now, field), getattr(r.then, field), digits)

    co2e = (r.co2e_kg(r.now), r.co2e_kg(r.then))
    return [
        of("Electricity", "kWh", "energy_kwh"),
        one("Cost of electricity", r.currency, r.cost(r.now), r.cost(r.then)),
        ("Emissions", "kg CO₂e", "–", "–", "no emission factor given")
        if co2e[0] is None or co2e[1] is None
        else one("Emissions", "kg CO₂e", co2e[0], co2e[1]),
        of("Light for nobody", "h", "wasted_on_h"),
        of("Times that light went off over somebody", "", "false_offs"),
        of("Hours in the dark after that", "h", "dark_h", 1),
    ]


def _balance(r: OwnerReport) -> str:
    body = ""
    for what, unit, now, then, less in rows(r):
        named = f"{what} <span>[{escape(unit)}]</span>" if unit else what
        body += f"<tr><th scope='row'>{named}</th><td>{now}</td><td><b>{then}</b></td><td class='soft'>{less}</td></tr>"
    head = "".join(f"<th scope='col'>{h}</th>" for h in ("as it is", THEN[r.advised], "change"))
    return (
        f"<h2>The building in a year</h2><table class='balance'><thead><tr><td></td>{head}</tr></thead>"
        f"<tbody>{body}</tbody></table>"
    )


def number_or_dash(value: float | None, digits: int) -> str:
    """Write a number, or a dash."""
    return words.NONE if value is None else number(value, digits)


def _pair(now: float | None, then: float | None, digits: int) -> str:
    a, b = number_or_dash(now, digits), number_or_dash(then, digits)
    return a if a == b else f"{a} → <b>{b}</b>"


def _rooms(r: OwnerReport) -> str:
    if not r.rooms:
        return "<h2>Rooms</h2><p>No room has a log of movement, so nothing can be counted.</p>"
    shown = r.rooms[:LARGEST]
    most = max((x.now.energy_kwh for x in shown), default=0.0)
    body = "".join(_room(x, most) for x in shown)
    title = f"The {'ten ' if len(shown) == LARGEST else ''}rooms that take most"
    return (
        f"<h2>{title}</h2><div class='scroll' tabindex='0' role='region' aria-label='{title}'><table class='rooms'>"
        f"<thead>{ROOM_HEADS}</thead><tbody>{body}</tbody></table></div>{_below(r)}"
    )


ROOM_HEADS = (
    "<tr><th rowspan='2' scope='col'>Room</th><th rowspan='2' scope='col' class='n'>Area<span>m²</span></th>"
    "<th rowspan='2' scope='col'>Electricity<span>kWh a year</span></th>"
    "<th colspan='2' scope='colgroup' class='group'>LENI, kWh/m² a year</th>"
    "<th colspan='3' scope='colgroup' class='group'>Share of operating time</th></tr><tr>"
    "<th scope='col' class='n'>measured</th><th scope='col' class='n'>EN 15193</th>"
    "<th scope='col' class='n'>absent</th><th scope='col' class='n'>held on</th><th scope='col' class='n'>EN 15193</th></tr>"
)


def _below(r: OwnerReport) -> str:
    told = []
    rest = r.rooms[LARGEST:]
    if rest:
        kwh = number(sum(x.now.energy_kwh for x in rest))
        told.append(f"{len(rest)} more rooms take {kwh} kWh a year together.")
    if r.leni_table is not None and r.leni_tabled_now is not None:
        told.append(
            f"In the rooms whose use the standard's tables know, LENI is {number(r.leni_tabled_now, 1)} as measured and "
            f"{number(r.leni_table, 1)} by the tables."
        )
    return f"<p class='soft'>{' '.join(told)}</p>" if told else ""


def _room(x: RoomReport, most: float) -> str:
    def bar(year: YearFigures, name: str) -> str:
        width = 100 * year.energy_kwh / most if most > 0 else 0.0
        return f"<i class='{name}' style='width:{min(width, 100):.1f}%'></i>"

    bars = bar(x.now, "now") + (bar(x.then, "then") if x.changed else "")
    seen = x.occupancy
    return (
        f"<tr><th scope='row'>{escape(x.name)} <span>{escape(x.use)}</span></th><td class='n'>{number_or_dash(x.area_m2, 0)}</td>"
        f"<td class='kwh'>{_pair(x.now.energy_kwh, x.then.energy_kwh, 0)}<div class='bars' aria-hidden='true'>{bars}</div></td>"
        f"<td class='n'>{_pair(x.leni_now, x.leni_then, 1)}</td><td class='n soft'>{number_or_dash(x.leni_table, 1)}</td>"
        f"<td class='n'>{number_or_dash(seen.absence if seen else None, 2)}</td>"
        f"<td class='n'>{_pair(seen.factor if seen else None, x.occupancy_then, 2)}</td>"
        f"<td class='n soft'>{number_or_dash(x.occupancy_table, 2)}</td></tr>"
    )


def _missing(r: OwnerReport) -> str:
    if not r.missing:
        return ""
    items = "".join(
        f"<li><b>{escape(m.what[:1].upper() + m.what[1:])}:</b> {escape(', '.join(m.rooms))}. {escape(m.follows)}</li>"
        for m in r.missing
    )
    return f"<section class='missing'><h2>What is missing</h2><ul>{items}</ul></section>"


def _method(r: OwnerReport) -> str:
    prices = f"Electricity {escape(words.money(r.electricity_price, r.currency))} a kilowatt-hour"
    if r.emission_factor_kg is not None:
        prices += f", {number(r.emission_factor_kg, 3).rstrip('0')} kg CO₂e a kilowatt-hour"
    prices += (
        f". Worth: energy burnt for nobody and by targets at that price, each time that light goes off over somebody at "
        f"{escape(words.money(r.cost_per_false_off, r.currency))}"
    )
    items = "".join(f"<p><b>{escape(head)}</b> {escape(text)}</p>" for head, text in method(r))
    return (
        f"<section class='method'><h2>Method and limits</h2><div class='columns'>{items}<p><b>Prices.</b> {prices}.</p>"
        f"<p class='caution'><b>Caution.</b> {CAUTION}</p></div></section>"
    )

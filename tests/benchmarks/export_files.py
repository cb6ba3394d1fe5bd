# ruff: noqa: E501  tables of words
"""Export files as buildings make them, each with its truth: names in many habits, layouts, containers, clocks. Shares nothing with `tuning`.

Words and habits are common practice, no source; some are in languages, or are codes, that a proposal may well not know.
"""

import datetime as dt
import gzip
import random
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import polars as pl

WORDS = {
    "en": {"motion": ["Motion", "PIR", "Movement", "MotionDetected"], "occupied": ["Occupancy", "Occupied", "Occ State", "Presence"],
           "illuminance": ["Lux", "Illuminance", "LightLevel", "Brightness"], "output": ["Dim Level", "Light Output", "Lamp", "Lighting Cmd"],
           "power": ["Power", "Lighting kW", "Active Power", "Watts"], "override": ["Wall Switch", "Override", "Button", "Manual Override"]},
    "de": {"motion": ["Bewegung", "Bewegungsmelder", "BWM", "PIR"], "occupied": ["Belegung", "Präsenz", "Praesenzmelder", "Anwesenheit"],
           "illuminance": ["Helligkeit", "Beleuchtungsstärke", "Lux", "Helligkeitswert"], "output": ["Dimmwert", "Beleuchtung Stellwert", "Licht", "Leuchte"],
           "power": ["Leistung", "Wirkleistung", "Leistung Licht"], "override": ["Taster", "Handbetrieb", "Wandtaster"]},
    "fr": {"motion": ["Mouvement", "Détection mouvement"], "occupied": ["Présence", "Occupation"], "illuminance": ["Éclairement", "Luminosité"],
           "output": ["Éclairage", "Variateur", "Sortie éclairage"], "power": ["Puissance"], "override": ["Bouton poussoir", "Forçage"]},
    "es": {"motion": ["Movimiento"], "occupied": ["Ocupación", "Presencia"], "illuminance": ["Iluminancia", "Luminosidad"],
           "output": ["Luz", "Regulación luz"], "power": ["Potencia"], "override": ["Pulsador"]},
    "it": {"motion": ["Movimento"], "occupied": ["Presenza", "Occupazione"], "illuminance": ["Illuminamento", "Luminosità"],
           "output": ["Luci", "Dimmer"], "power": ["Potenza"], "override": ["Pulsante"]},
    "nl": {"motion": ["Beweging"], "occupied": ["Aanwezigheid", "Bezetting"], "illuminance": ["Lichtsterkte", "Lux"], "output": ["Verlichting", "Dimstand"],
           "power": ["Vermogen"], "override": ["Drukknop"]},
    "da": {"motion": ["Bevægelse", "PIR"], "occupied": ["Tilstedeværelse"], "illuminance": ["Lysniveau", "Lux"], "output": ["Lys", "Lysdæmp"],
           "power": ["Effekt"], "override": ["Tryk"]},
    "sv": {"motion": ["Rörelse"], "occupied": ["Närvaro"], "illuminance": ["Ljusnivå", "Belysningsstyrka"], "output": ["Belysning", "Ljus"],
           "power": ["Effekt"], "override": ["Knapp"]},
    "pl": {"motion": ["Ruch"], "occupied": ["Obecność"], "illuminance": ["Natężenie oświetlenia"], "output": ["Oświetlenie"], "power": ["Moc"],
           "override": ["Przycisk"]},
    "abbr": {"motion": ["PIR", "MOT", "MD", "MV"], "occupied": ["OCC", "PRS", "PD"], "illuminance": ["LX", "LUX", "ILL"], "output": ["DIM", "OUT", "LGT"],
             "power": ["PWR", "KW", "P"], "override": ["OVR", "SW", "PB"]},
    "codes": {"motion": ["BI01"], "occupied": ["BI02"], "illuminance": ["AI01"], "output": ["AO01"], "power": ["AI02"], "override": ["BI03"]},
}  # fmt: skip
OTHER = {"temp": ["Temp", "Raumtemperatur", "Temperature °C", "T"], "co2": ["CO2", "CO2 [ppm]"], "rh": ["Humidity", "rF", "RH%"],
         "set": ["Lux Setpoint", "Sollwert Helligkeit", "Light SP"], "blind": ["Blind position", "Jalousie Höhe"], "door": ["Door contact", "Fensterkontakt"]}  # fmt: skip
PLACES = {
    "en": [["Room 101", "Room 102", "Room 214"], ["Meeting Room A", "Meeting Room B", "Kitchen"], ["Open Office North", "Open Office South", "Corridor"]],
    "de": [["Raum 1.12", "Raum 1.13", "Raum 2.02"], ["Büro Nord", "Büro Süd", "Flur EG"], ["EG R003", "EG R004", "OG R003"]],
    "fr": [["Salle 12", "Salle 14", "Bureau 3"], ["Couloir RDC", "Salle de réunion", "Accueil"]],
    "es": [["Aula 1", "Aula 2", "Pasillo"]], "it": [["Sala 1", "Sala 2", "Corridoio"]], "nl": [["Lokaal 1.01", "Lokaal 1.02", "Gang"]],
    "da": [["Rum 12", "Rum 13", "Gang"]], "sv": [["Rum 201", "Rum 202", "Korridor"]], "pl": [["Sala 11", "Sala 12", "Korytarz"]],
    "abbr": [["R101", "R102", "R205"], ["F1-R01", "F1-R02", "F2-R01"], ["101", "102", "205"]],
    "codes": [["D1", "D2", "D3"], ["4011", "4012", "4013"]],
}  # fmt: skip
CHANNELS = {
    "en": ("Window", "Wall"),
    "de": ("Fenster", "Wand"),
    "fr": ("Fenêtre", "Mur"),
    "abbr": ("L1", "L2"),
    "nl": ("Kanaal 1", "Kanaal 2"),
}
STYLES = (
    "{site}/{place}/{what}",
    "{place} {what}",
    "{place}_{what}",
    "{what} {place}",
    "{site}.{place}.{what}",
    "{place} - {what}",
    "{place}:{what}",
)
UNITS = {"illuminance": " [lx]", "output": " [%]", "power": " [W]"}
TIMES = ("%Y-%m-%dT%H:%M:%S+01:00", "%Y-%m-%d %H:%M:%S", "%d.%m.%Y %H:%M:%S", "%d/%m/%Y %H:%M", "%m/%d/%Y %I:%M:%S %p", "%d.%m.%y %H:%M:%S",
         "%d-%b-%y %H:%M:%S", "epoch", "epoch_ms", "two", "%Y%m%d %H%M%S")  # fmt: skip
TIME_NAMES = {"en": ["Timestamp", "Date/Time", "Time"], "de": ["Zeitstempel", "Datum/Uhrzeit", "Zeit"], "fr": ["Horodatage", "Date"], "es": ["Fecha"],
              "it": ["Data ora"], "nl": ["Tijdstip"], "da": ["Tidspunkt"], "sv": ["Tid"], "pl": ["Czas"], "abbr": ["ts", "TIME"], "codes": ["timestamp", "t"]}  # fmt: skip


@dataclass
class Meant:
    """What a column or point truly is; quantity None where it is none of the six."""

    quantity: str | None
    room: str
    channel: str | None = None


@dataclass
class Export:
    """A folder with one export, and its truth: columns or points by name, names of the time columns, and the layout."""

    folder: Path
    habit: str
    layout: str
    time: tuple[str, ...]
    meant: dict[str, Meant] = field(default_factory=dict)
    start: dt.datetime | None = None


def _values(quantity, rng, minutes):
    """Minutes of a day-by-day life: people from 8 to 17, lamps that follow, daylight that comes and goes."""
    n = len(minutes)
    hour = (minutes % 1440) / 60
    awake = (hour > 8) & (hour < 17) & (np.floor(minutes / 40) % 3 != 1)
    motion = awake & (rng.random(n) < 0.5)
    held = np.zeros(n, dtype=bool)
    last = -99
    for i in range(n):
        last = i if motion[i] else last
        held[i] = i - last <= 12
    day = np.clip(np.sin((hour - 6.5) / 12 * np.pi), 0, None) * rng.uniform(200, 1500)
    level = np.where(held, rng.choice([100, 100, 80]) - np.round(np.clip(day / 20, 0, 60)), 0)
    if quantity == "motion":
        return motion.astype(int)
    if quantity == "occupied":
        return held.astype(int)
    if quantity == "illuminance":
        return np.round(day + level * 3.5 + rng.normal(0, 2, n).clip(-2, 2) + 2, 0)
    if quantity == "output":
        return level
    if quantity == "power":
        return np.round(np.where(held, 20 + level * 3.1, 1.5), 1)
    if quantity == "override":
        return (rng.random(n) < 0.003).astype(int)
    return np.round(
        {"temp": 21, "co2": 600, "rh": 45, "set": 500, "blind": 50, "door": 0}[quantity]
        + rng.normal(0, {"set": 0, "door": 0}.get(quantity, 1), n),
        1,
    )


def make(folder: Path, seed: int) -> Export:
    """Write one export into a folder of its own."""
    pick, rng = random.Random(seed), np.random.default_rng(seed)
    habit = pick.choice([*WORDS, "en", "de", "abbr", "en", "de"])
    layout = pick.choice(["wide", "wide", "points", "points", "files"])
    places = pick.choice(PLACES[habit])[: pick.choice([2, 3, 3])]
    style = pick.choice(STYLES)
    kinds = [pick.choice(["motion", "motion", "occupied"]), "illuminance", "output"]
    kinds += pick.sample(["power", "override", "occupied"], pick.choice([0, 0, 1]))
    kinds = list(dict.fromkeys(kinds))
    words = {q: pick.choice(WORDS[habit][q]) for q in WORDS[habit]}
    units = pick.random() < 0.4 and layout != "files"
    days, step = pick.choice([(3, 1), (5, 5), (2, 1)])
    minutes = np.arange(0, days * 1440, step)
    start = dt.datetime(2026, pick.choice([2, 3, 11]), pick.choice([2, 9, 16]))  # noqa: DTZ001
    export = Export(folder, habit, layout, (), start=start)
    table = {}
    two = habit in CHANNELS and pick.random() < 0.3
    site = pick.choice(["HQ", "B2", "Site1"])
    for place in places:
        for kind in kinds:
            for channel in CHANNELS[habit] if two and kind == "output" else (None,):
                what = (f"{channel} " if channel else "") + words[kind] + (UNITS.get(kind, "") if units else "")
                table[style.format(site=site, place=place, what=what)] = _values(kind, rng, minutes)
                export.meant[style.format(site=site, place=place, what=what)] = Meant(kind, place, channel)
        for other in pick.sample(list(OTHER), pick.choice([0, 1, 2])):
            name = style.format(site=site, place=place, what=pick.choice(OTHER[other]))
            table[name], export.meant[name] = _values(other, rng, minutes), Meant(None, place)
    _write(export, pick, table, [start + dt.timedelta(minutes=int(m)) for m in minutes])
    return export


def _time_columns(export, pick, moments):
    form = pick.choice(TIMES)
    name = pick.choice(TIME_NAMES[export.habit])
    if form == "two":
        export.time = ("Date", "Time") if export.habit == "en" else ("Datum", "Uhrzeit")
        return {export.time[0]: [f"{t:%d.%m.%Y}" for t in moments], export.time[1]: [f"{t:%H:%M:%S}" for t in moments]}
    export.time = (name,)
    if form.startswith("epoch"):
        factor = 1 if form == "epoch" else 1000
        return {name: [str(int(t.replace(tzinfo=dt.UTC).timestamp()) * factor) for t in moments]}
    return {name: [t.strftime(form) for t in moments]}


def _text(value, comma):
    text = f"{value:g}"
    return text.replace(".", ",") if comma else text


def _write(export, pick, table, moments):
    delimiter = pick.choice([",", ";", ";", "\t"])
    comma = delimiter != "," and pick.random() < 0.5
    encoding = pick.choice(["utf-8", "utf-8-sig", "utf-16", "latin-1"])
    encoding = "utf-8" if export.habit == "pl" and encoding == "latin-1" else encoding
    words = pick.random() < 0.25
    title = ["Trend export", ""] if pick.random() < 0.3 else []
    time = _time_columns(export, pick, moments)

    def cell(name, value):
        if words and export.meant[name].quantity in ("motion", "occupied"):
            return "on" if value else "off"
        return _text(value, comma)

    def put(name, header, rows):
        lines = [*title, delimiter.join(header), *(delimiter.join(row) for row in rows)]
        data = ("\r\n".join(lines) + "\r\n").encode(encoding)
        (export.folder / name).write_bytes(gzip.compress(data) if name.endswith(".gz") else data)

    stamps = list(zip(*time.values(), strict=True))
    if export.layout == "wide":
        rows = [[*stamp, *(cell(n, table[n][i]) for n in table)] for i, stamp in enumerate(stamps)]
        if pick.random() < 0.15 and len(time) == 1:
            pl.DataFrame({"time": moments} | {n: np.asarray(v, dtype=float) for n, v in table.items()}).write_parquet(
                export.folder / "trend.parquet"
            )
            export.time = ("time",)
            return
        put(pick.choice(["export.csv", "export.csv.gz"]), [*time, *table], rows)
    elif export.layout == "points":
        # A row where a value changes, as trend logs by change of value have it.
        heads = pick.choice([("Point", "Value"), ("Tag", "Value", "Quality"), ("Datenpunkt", "Wert"), ("Name", "Val")])
        rows = [
            (i, [*stamp, n, cell(n, table[n][i])] + (["Good"] if len(heads) == 3 else []))
            for n in table
            for i, stamp in enumerate(stamps)
            if i == 0 or table[n][i] != table[n][i - 1]
        ]
        rows.sort(key=lambda r: r[0])
        put("trend.csv", [*time, *heads], [row for _, row in rows])
    else:
        meant = {}
        for n in table:
            name = "".join(c if c.isalnum() or c in " ._-" else "_" for c in n) + ".csv"
            put(name, [*time, "Value"], [[*stamp, cell(n, table[n][i])] for i, stamp in enumerate(stamps)])
            meant[name] = export.meant[n]
        export.meant = meant

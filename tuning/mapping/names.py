"""Names of columns, points and files → words: which of them name a quantity, a channel, a detector, and which are left to name a room."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from tuning.site import Quantity

# Every word here is common practice, no source: abbreviations of the trade in English, German, French, Spanish, Italian, Dutch and the
# Nordic languages, without accents. A word that ends in * may go on.
QUANTITY_WORDS: dict[Quantity, str] = {
    "illuminance": (
        "lux lx klx illum* illuminance iluminanc* iluminacion illuminamento eclairement brightness bright hellig* luminosit* luminosidad "
        "luminosita lichtsterkte verlichtingssterkte beleuchtungsst* lysstyrke belysningsst* ljusstyrka ljusniva lysniveau "
        "lightlevel lysniveau als ill photocell daylight tageslicht luminance valoisuus "
    ),
    "override": (
        "override ovr ovrd switch sw pb schalter interrupteur  manual manuell hand press button push "
        "pushbutton taster tastendruck wandtaster bouton boutons bp poussoir pulsador "
        "pulsante drukknop tryk knapp knap wallswitch keypad scene forcage "
    ),
    "power": "w power watt watts kw leistung puissance potencia potenza vermogen effekt wirkleistung pwr activepower load last teho ",
    "output": (
        "output out lgt ltg dimstand lysdaemp* dim dimming dimm* dimmer dimlevel dali "
        "arc lamp lamps lampe* luminaire* leuchte* ballast light lights lighting licht "
        "beleuchtung eclairage lumiere luz luces luce luci verlichting lys belysning ljus lum stellwert ausgang sortie salida uscita "
        "intensity variateur level lvl relay relais valo switched "
    ),
    "occupied": (
        "pd pm occ occup* occupancy occupied presence pres prs present praesenz* prasenz* anwesen* beleg* belegt presencia presenza aanwezig* "
        "bezet* tilstede* narvaro narvar* vacancy ocupac* occupaz* lasnaolo "
    ),
    "motion": (
        "motion mot mov mvt movement pir ir bewegung* bew bwm mouvement* movimiento movimento beweging* bevaegelse bevegelse rorelse md "
        "trigger trig detection detected activity liike "
    ),
}
WEAK = frozenset(
    [
        "w",
        "switch",
        "sw",
        "pb",
        "pd",
        "pm",
        "out",
        "hand",
        "load",
        "last",
        "level",
        "lvl",
        "lum",
        "intensity",
        "ir",
        "bright",
        "als",
        "manual",
        "relay",
        "relais",
        "dali",
        "arc",
        "press",
        "push",
        "scene",
        "mot",
        "mov",
        "pres",
        "hand",
        "present",
    ]
)
"""Words that mean something else as often. Chosen by us."""
OTHERS = (
    "temp temperature temperatur* temperatura sollwert setpoint setpt sp "
    "spt soll consigne target threshold schwelle humidity humid rh feuchte* "
    "humidite humedad co2 ppm voc tvoc noise db pressure druck energy energie kwh wh zahler counter count runtime betriebsstunden hours "
    "alarm fault error storung stoerung battery batterie bat rssi signal lqi "
    "snr quality qualitat status_flag flag comment kommentar remark user unit "
    "einheit blind* jalousie* shutter* shade store raffstore valve ventil "
    "damper klappe fan vav airflow contact kontakt door tur tuer turkontakt "
    "fensterkontakt voltage spannung current strom frequency cosphi id "
    "seq sequence index nr setting timeout nachlauf* holdoff delay cloud* "
    "outdoor aussen outside weather wetter wind rain regen solar people persons personen weekday firmware battery_level"
)
"""Words of what is no reading of the six quantities."""
CHANNEL_WORDS = (
    "window windows fenster fensterreihe fensterseite fenetre ventana finestra "
    "raam vindue fonster wall wand wandreihe mur pared muur vaeg vagg inner innen outer "
    "corridor_side board tafel tableau whiteboard front rear back row "
    "reihe rangee fila rij ch channel kanal canal canale kreis circuit group "
    "gruppe groupe grupo gruppo grp zone_light line phase l ltg band buehne stage desk middle mitte centre"
)
INDEXED_CHANNELS = frozenset(
    [
        "ch",
        "channel",
        "kanal",
        "canal",
        "canale",
        "kreis",
        "circuit",
        "group",
        "gruppe",
        "groupe",
        "grupo",
        "gruppo",
        "grp",
        "row",
        "reihe",
        "rangee",
        "fila",
        "rij",
        "line",
        "l",
        "band",
        "k",
        "g",
        "c",
    ]
)
DETECTOR_WORDS = (
    "sensor sensors detector detektor detecteur detectores melder "
    "msensor multisensor dev device fuhler fuehler head kopf sens det mm"
)
ROOM_MARKS = frozenset(
    [
        "r",
        "rm",
        "room",
        "raum",
        "rum",
        "zi",
        "zimmer",
        "salle",
        "sala",
        "lokale",
        "lokaal",
        "local",
        "rom",
        "br",
        "sa",
        "zone",
        "zn",
        "kamer",
        "tila",
        "space",
        "raumnr",
        "bureau",
        "buro",
        "aula",
    ]
)
NOISE = (
    "value val wert valeur valor state status zustand etat estado stato pv "
    "present_value presentvalue trend trendlog tl log history his hist data "
    "point pt ai ao av bi bo bv mi mo mv di do in input eingang cmd "
    "command cov avg mean mittelwert average moyenne min max last raw sample the "
    "of des du de la le der die das im in and und et ceiling decke knx "
    "bacnet plc ddc opc modbus bus obj object ist istwert actual act feedback fb rm_ "
    "pct percent prozent 0 1 on off bool binary analog channel_value signal_value w lx lux"
)
UNITS = re.compile(
    r"[\[(]\s*(lx|lux|klx|fc|%|pct|percent|w|kw|watts?|°c|c|k|ppm|kwh|wh|db|min|s|h|v|a|bool|0/1)\s*[\])]\s*$"
    r"|(?:[\s_]+)(lx|%|kw|kwh|°c|ppm)\s*$"
)
UNIT_OF: dict[str, Quantity] = {
    "lx": "illuminance", "lux": "illuminance", "klx": "illuminance", "fc": "illuminance",
    "w": "power", "kw": "power", "watt": "power", "watts": "power",
    "%": "output", "pct": "output", "percent": "output",
}  # fmt: skip
OTHER_UNITS = frozenset(("°c", "c", "k", "ppm", "kwh", "wh", "db", "min", "s", "h", "v", "a"))
USE_WORDS: dict[str, str] = {
    "corridor": "corridor hallway hall flur gang couloir pasillo corridoio gangen korridor hallway",
    "stairs": "stair stairs stairwell treppe treppenhaus escalier escalera scala trap trappe trappa staircase",
    "toilet": "wc toilet toilets restroom toilette toilettes bagno aseo servicio sanitar lavatory bathroom",
    "meeting room": "meeting conference besprechung besprechungsraum sitzung sitzungszimmer reunion riunione vergader* moderum mote konferenz",
    "classroom": "classroom class klasse klassenzimmer klassenraum aula seminar seminarraum lesson klas undervisning",
    "kitchen": "kitchen kuche kueche teekuche cuisine cocina cucina keuken kokken pantry tea",
    "canteen": "canteen kantine cafeteria mensa refectoire comedor restaurant",
    "store room": "store storage lager lagerraum depot stockage almacen magazzino archive archiv opslag",
    "plant room": "plant technik technikraum technical local_technique mechanical",
    "copy room": "copy kopier kopierraum print printer",
    "reception": "reception empfang accueil recepcion receptie lobby foyer entrance eingangshalle",
    "workshop": "workshop werkstatt atelier taller officina werkplaats vaerksted lab laboratory labor",
    "sports hall": "gym sports sporthalle turnhalle gymnase gimnasio palestra",
    "changing room": "changing umkleide vestiaire vestuario spogliatoio kleedkamer locker",
    "reading room": "reading lesesaal lecture bibliothek library",
    "waiting area": "waiting warte wartezimmer attente espera attesa",
    "lecture hall": "auditorium horsaal hoersaal amphi amphitheatre",
    "open-plan office": "openplan grossraum openspace open_plan openoffice",
    "office": "office buro buero bureau oficina ufficio kantoor kontor",
}  # fmt: skip


def _pattern(words: str) -> re.Pattern[str]:
    return re.compile(
        "^(?:" + "|".join(re.escape(w[:-1]) + r"\w*" if w.endswith("*") else re.escape(w) for w in words.split()) + ")$"
    )


_QUANTITY = {quantity: _pattern(words) for quantity, words in QUANTITY_WORDS.items()}
_OTHERS, _CHANNEL, _DETECTOR, _NOISE = (
    _pattern(OTHERS),
    _pattern(CHANNEL_WORDS),
    _pattern(DETECTOR_WORDS),
    _pattern(NOISE),
)
_USES = {use: _pattern(words) for use, words in USE_WORDS.items()}


@lru_cache(maxsize=1 << 14)
def plain(name: str) -> str:
    """Name in small letters without accents, its words apart: "AHU2/RaumBelegung" becomes "ahu2 raum belegung".

    Examples
    --------
    >>> plain("OG2_R2.14-PräsenzMelder [%]"), plain("DALI1.Grp3")
    ('og2 r2.14 prasenz melder', 'dali1 grp3')
    """
    text = unicodedata.normalize(
        "NFKD", name.replace("ß", "ss").replace("ø", "o").replace("Ø", "O").replace("æ", "ae").replace("Æ", "Ae")
    )
    text = "".join(c for c in text if not unicodedata.combining(c))
    text = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z]{2})", " ", text).casefold()
    text = re.sub(r"(?<!\d)\.|\.(?!\d)", " ", text)
    return " ".join(re.sub(r"[^\w.]|_", " ", text).split())


@dataclass(frozen=True)
class Named:
    """What the words of a name say.

    Attributes
    ----------
    quantities
        Quantities that words name → how strongly: 1 a word, or unit, of its own; 0.5 one that may mean something else.
    other
        The word that makes it none of the quantities; "" where there is none.
    channel, detector
        Words that tell a channel or a detector; "" where there are none.
    marked
        A room number behind a word for room: "r203"; "" where there is none.
    place
        All words that are left, in order: building, floor, room.
    """

    quantities: dict[Quantity, float]
    other: str
    channel: str
    detector: str
    marked: str
    place: tuple[str, ...]
    unit: str = ""


def read_name(name: str) -> Named:
    """Tell the words of a name apart."""
    unit_match = UNITS.search(name.casefold())
    unit = next((g for g in unit_match.groups() if g), "") if unit_match else ""
    quantities: dict[Quantity, float] = {}
    if unit in UNIT_OF and unit not in ("%", "pct", "percent"):
        quantities[UNIT_OF[unit]] = 1.0
    words = plain(UNITS.sub("", name.casefold()) and UNITS.sub("", name)).split() if unit_match else plain(name).split()
    other, channel, detector, marked = ("" if unit not in OTHER_UNITS else unit), "", "", ""
    place: list[str] = []
    if {"light", "level"} <= set(words):
        # Light that falls on the detector, or that the lamps give: the values tell.
        quantities |= {"illuminance": 1.0, "output": 1.0}
        words = [word for word in words if word != "level"]
    skip = False
    for i, word in enumerate(words):
        if skip:
            skip = False
            continue
        following = words[i + 1] if i + 1 < len(words) else ""
        letters, digits = _parts(word)
        base = letters or word
        quantity = _quantity_of(word) or (_quantity_of(base) if digits else None)
        index = digits if digits else following if following.isdigit() and len(following) < 3 else ""
        if _OTHERS.match(word):
            other = other or word
        elif base in ROOM_MARKS and (digits or _is_number(following)):
            marked = marked or f"r{digits or following}"
            place.append(f"r{digits or following}")
            skip = not digits
        elif quantity is not None:
            strength = 0.5 if base in WEAK or word in WEAK else 1.0
            quantities[quantity] = max(quantities.get(quantity, 0.0), strength)
            if digits:
                detector = detector or digits
            elif index and i + 2 >= len(words):
                detector, skip = detector or index, True
        elif base in ("wall", "wand") and following in ("switch", "taster", "schalter", "button"):
            continue
        elif _CHANNEL.match(base) and (base not in INDEXED_CHANNELS or index):
            channel = channel or (f"{base}{index.lstrip('0') or index}" if index else base)
            skip = bool(index) and not digits
        elif _DETECTOR.match(base):
            if index or (len(following) == 1 and following.isalpha()):
                detector = detector or index or following
                skip = not digits
        elif _NOISE.match(word) or (_NOISE.match(base) and digits):
            continue
        else:
            place.append(word)
    return Named(quantities, other, channel, detector, marked, tuple(place), unit)


def _quantity_of(word: str) -> Quantity | None:
    return next((q for q, pattern in _QUANTITY.items() if pattern.match(word)), None)


def _parts(word: str) -> tuple[str, str]:
    match = re.match(r"^([^\W\d]+)(\d[\d.]*[a-z]?)$", word)
    return (match[1], match[2]) if match else ("", "")


def _is_number(word: str) -> bool:
    return re.match(r"^[a-z]?\d[\d.]*[a-z]?$", word) is not None


def use_of(words: tuple[str, ...]) -> str | None:
    """Room use that words name, if any."""
    return next((use for use, pattern in _USES.items() if any(pattern.match(w) for w in words)), None)

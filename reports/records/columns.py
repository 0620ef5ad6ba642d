"""Which column of a table holds what: kinds of tables, their fields, and headings matched to fields by name, in English
and German. What is not matched is asked, never guessed from the values.

The names by which other programs and shops head their columns are common practice, no source.
"""

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from diagnostics.engine.words import _
from reports.records.tables import TableError

KindName = Literal["cars", "jobs", "checks", "fitted", "stock"]
KINDS: tuple[KindName, ...] = ("cars", "jobs", "checks", "fitted", "stock")


@dataclass(frozen=True, slots=True)
class Field:
    """`names`: headings that mean it, as `_plain` makes them. A `needed` field must have a column; `day`: its values
    are days."""

    name: str
    names: tuple[str, ...]
    needed: bool = False
    day: bool = False


_VIN = Field(
    "vin",
    ("vin", "vinnumber", "chassis", "chassisno", "chassisnumber", "fin", "fahrgestellnummer", "fahrgestellnr",
     "fahrzeugidentifikationsnummer", "fahrzeugidentnummer", "fgstnr"),
    needed=True,
)  # fmt: skip
_REFERENCE = Field(
    "reference",
    ("reference", "ref", "job", "jobno", "jobnumber", "order", "orderno", "ordernumber", "workorder", "auftrag",
     "auftragsnummer", "auftragsnr", "auftragnr", "referenz", "vorgang"),
    needed=True,
)  # fmt: skip
_POSITION = Field("position", ("position", "pos", "designation", "bmk", "einbauort", "stelle", "place"), needed=True)

FIELDS: Mapping[str, tuple[Field, ...]] = {
    "cars": (
        _VIN,
        Field("plate", ("plate", "licenceplate", "licenseplate", "registration", "kennzeichen")),
        Field("maker", ("maker", "make", "brand", "manufacturer", "hersteller", "marke"), needed=True),
        Field("model", ("model", "modell", "typ", "type"), needed=True),
        Field("made_on", ("madeon", "made", "productionmonth", "productiondate", "built", "builddate", "year",
              "baujahr", "baudatum", "produktionsmonat", "produktionsdatum"), needed=True),
        Field("known_from", ("knownfrom", "historyfrom", "historyknownfrom", "bekanntseit", "bekanntab"), day=True),
        Field("climate", ("climate", "klima")),
        Field("system", ("system", "topsystem", "verdeck", "verdecksystem")),
        Field("owner_name", ("ownername", "owner", "customer", "customername", "name", "halter", "kunde", "kundenname",
              "besitzer", "eigentumer", "eigentuemer")),
        Field("owner_email", ("owneremail", "email", "mail", "customeremail", "kundenemail")),
        Field("owner_phone", ("ownerphone", "phone", "telephone", "tel", "telefon", "mobile", "handy", "rufnummer")),
    ),
    "jobs": (
        _REFERENCE,
        _VIN,
        Field("title", ("title", "work", "subject", "titel", "betreff", "arbeit", "arbeiten"), needed=True),
        Field("complaint", ("complaint", "customercomplaint", "beanstandung", "kundenbeanstandung", "reklamation")),
        Field("opened", ("opened", "openedon", "openedat", "date", "datein", "arrived", "begun", "start", "eroffnet",
              "eroeffnet", "angenommen", "annahme", "datum", "beginn", "eingang"), needed=True, day=True),
        Field("finished", ("finished", "finishedon", "finishedat", "closed", "completed", "dateout", "end", "fertig",
              "abgeschlossen", "beendet", "fertiggestellt", "ende", "ausgang"), needed=True, day=True),
        Field("odometer", ("odometer", "km", "mileage", "kilometres", "kilometers", "kilometerstand", "kmstand",
              "tachostand", "laufleistung")),
    ),
    "checks": (
        _VIN,
        _REFERENCE,
        Field("date", ("date", "on", "checkedon", "day", "datum", "gepruftam", "geprueftam", "pruefdatum", "prufdatum",
              "tag"), needed=True, day=True),
        _POSITION,
        Field("what", ("what", "check", "kind", "test", "prufung", "pruefung", "art", "was"), needed=True),
        Field("volts", ("volts", "volt", "v", "voltage", "reading", "spannung", "messwert")),
        Field("supply_volts", ("supplyvolts", "supply", "supplyvoltage", "bordspannung", "versorgung",
              "versorgungsspannung")),
        Field("pressed_volts", ("pressedvolts", "pressed", "voltspressed", "gedruckt", "gedrueckt")),
        Field("released_volts", ("releasedvolts", "released", "voltsreleased", "losgelassen")),
        Field("ohms", ("ohms", "ohm", "resistance", "widerstand")),
        Field("pose", ("pose", "topposition", "verdeckstellung", "stellung")),
        Field("outcome", ("outcome", "result", "found", "finding", "ergebnis", "befund")),
        Field("motion", ("motion", "movement", "bewegung")),
        Field("stops_at", ("stopsat", "stoppedat", "stoppedin", "step", "haltbei", "schritt")),
        Field("lamp", ("lamp", "warninglamp", "lampe", "warnlampe")),
        Field("bar_start", ("barstart", "startbar", "pressurestart", "druckanfang", "anfangsdruck")),
        Field("bar_end", ("barend", "endbar", "pressureend", "druckende", "enddruck")),
        Field("seconds", ("seconds", "sec", "time", "sekunden", "dauer", "zeit")),
        Field("oil_c", ("oilc", "oil", "oiltemperature", "oltemperatur", "oeltemperatur")),
    ),
    "fitted": (
        _VIN,
        _POSITION,
        Field("part", ("part", "partnumber", "partno", "teil", "teilenummer", "teilenr", "artikelnummer"), needed=True),
        Field("revision", ("revision", "rev", "index", "anderungsstand", "aenderungsstand", "stand")),
        Field("fitted_on", ("fittedon", "fitted", "installed", "installedon", "eingebaut", "eingebautam", "einbau",
              "einbaudatum"), needed=True, day=True),
        Field("removed_on", ("removedon", "removed", "ausgebaut", "ausgebautam", "ausbau", "ausbaudatum"), day=True),
        Field("why", ("why", "reason", "removedwhy", "grund", "warum", "ausbaugrund")),
    ),
    "stock": (
        Field("part", ("part", "partnumber", "partno", "teil", "teilenummer", "artikelnummer"), needed=True),
        Field("quantity", ("quantity", "qty", "stock", "onhand", "pieces", "menge", "bestand", "stuck", "stueck"),
              needed=True),
        Field("name", ("name", "description", "partname", "bezeichnung", "benennung", "artikel")),
        Field("bin", ("bin", "shelf", "location", "place", "lagerplatz", "lagerort", "fach", "lager")),
        Field("lot", ("lot", "batch", "batchno", "batchnumber", "serial", "serialno", "serialnumber", "charge",
              "chargennummer", "seriennummer")),
    ),
}  # fmt: skip


def kind_words(kind: str) -> str:
    words = {
        "cars": _("Cars"),
        "jobs": _("Jobs"),
        "checks": _("Checks"),
        "fitted": _("Parts fitted"),
        "stock": _("Stock"),
    }
    return words[kind]


def field_words(name: str) -> str:
    words = {
        "vin": _("VIN"),
        "plate": _("Plate"),
        "maker": _("Maker"),
        "model": _("Model"),
        "made_on": _("Production month"),
        "known_from": _("History known from"),
        "climate": _("Climate"),
        "system": _("Top system"),
        "owner_name": _("Owner’s name"),
        "owner_email": _("Owner’s e-mail"),
        "owner_phone": _("Owner’s telephone"),
        "reference": _("Reference (its number in the old records)"),
        "title": _("Title"),
        "complaint": _("Complaint"),
        "opened": _("Opened"),
        "finished": _("Finished"),
        "odometer": _("Odometer, km"),
        "date": _("Date"),
        "position": _("Position"),
        "what": _("What was checked"),
        "volts": _("Volts"),
        "supply_volts": _("Supply, volts"),
        "pressed_volts": _("Volts while pressed"),
        "released_volts": _("Volts while let go"),
        "ohms": _("Ohms"),
        "pose": _("Pose"),
        "outcome": _("Outcome"),
        "motion": _("Motion (open, close)"),
        "stops_at": _("Step at which the motion stopped"),
        "lamp": _("Lamp"),
        "bar_start": _("Bar at the start of the hold"),
        "bar_end": _("Bar at the end of the hold"),
        "seconds": _("Seconds of the hold, or of the steps"),
        "oil_c": _("Hydraulic fluid, °C"),
        "part": _("Part number"),
        "revision": _("Revision"),
        "fitted_on": _("Fitted on"),
        "removed_on": _("Removed on"),
        "why": _("Why it was removed"),
        "quantity": _("Quantity"),
        "name": _("Name"),
        "bin": _("Place"),
        "lot": _("Batch or serial number"),
    }
    return words[name]


def matched(headings: Sequence[str], kind: str) -> dict[str, str]:
    """field -> heading, for the fields whose names one heading has; each heading is taken once."""
    free = {_plain(heading): heading for heading in reversed(headings)}
    out = {}
    for field in FIELDS[kind]:
        name = next((name for name in field.names if name in free), None)
        if name is not None:
            out[field.name] = free.pop(name)
    return out


def guessed_kind(headings: Sequence[str]) -> str:
    """The kind all of whose needed fields are matched, the one with most columns matched; '' where there is none, or
    two fit as well."""
    fits: dict[str, int] = {}
    for kind in KINDS:
        found = matched(headings, kind)
        if not missing(kind, found):
            fits[kind] = len(found)
    best = [kind for kind, count in fits.items() if count == max(fits.values())]
    return best[0] if len(best) == 1 else ""


def missing(kind: str, matching: Mapping[str, str]) -> tuple[str, ...]:
    """Names of the needed fields that have no column."""
    return tuple(field.name for field in FIELDS[kind] if field.needed and field.name not in matching)


def places(headings: Sequence[str], kind: str, matching: Mapping[str, str]) -> dict[str, int]:
    """field -> place of its column, counted from 0. TableError for a field or heading that is not there, a heading
    taken twice, and a needed field without a column."""
    if kind not in FIELDS:
        told = _("“{kind}” is no kind of table; expected one of: {kinds}.")
        raise TableError(told.format(kind=kind[:40], kinds=", ".join(KINDS)))
    known = {field.name for field in FIELDS[kind]}
    for name, heading in matching.items():
        if name not in known:
            told = _("A table of {kind} has no field “{name}”; expected one of: {names}.")
            raise TableError(told.format(kind=kind, name=name[:40], names=", ".join(sorted(known))))
        if heading not in headings:
            told = _("The table has no column “{heading}”; it has: {names}.")
            raise TableError(told.format(heading=heading[:60], names=", ".join(headings)[:400]))
    taken = list(matching.values())
    twice = next((heading for heading in taken if taken.count(heading) > 1), None)
    if twice is not None:
        raise TableError(_("The column “{heading}” is matched to two fields.").format(heading=twice[:60]))
    lacking = missing(kind, matching)
    if lacking:
        told = _("No column is matched to: {names}. The table has: {headings}.")
        raise TableError(told.format(names=", ".join(lacking), headings=", ".join(headings)[:400]))
    return {name: headings.index(heading) for name, heading in matching.items()}


def _plain(heading: str) -> str:
    """Without what stands in brackets, accents, spaces and marks, in small letters."""
    words = re.sub(r"[(\[].*?[)\]]", "", heading).casefold()
    bare = unicodedata.normalize("NFKD", words)
    return "".join(mark for mark in bare if mark.isalnum())

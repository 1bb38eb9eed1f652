"""The tables that can be imported, as data: headings, what they mean, and the columns they go to.

`docs/tables.md` is made from this, and people keep files with these headings for years: a heading
never changes its meaning.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from xlfuncs.workbook import words

# What a value is, apart from quantities, which are named as the kinds of `science.units`.
TEXT, WORD, DATE, TIME, NUMBER, SHARE = "text", "word", "date", "time", "number", "share"
#: A gravity in the scale of the workbook's plans; a value in the scale of an instrument.
GRAVITY, SCALE = "gravity", "scale"
VOLUME, TEMPERATURE, MASS = "volume", "temperature", "mass"


@dataclass(frozen=True)
class Column:
    """One column of a table.

    `target` is the workbook's column; blank where what it goes to hangs on other values.  `words`
    maps each word of the workbook to other words for it; `headings` are other headings of the same
    meaning.
    """

    name: str
    meaning: str
    target: str
    kind: str = TEXT
    headings: tuple[str, ...] = ()
    words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    limits: str = ""  # the workbook's column whose limits count; blank: the target's

    @property
    def is_number(self) -> bool:
        """Whether its values are numbers."""
        return self.kind in (NUMBER, SHARE, GRAVITY, SCALE, VOLUME, TEMPERATURE, MASS)


@dataclass(frozen=True)
class Table:
    """One table: its columns, the sheet that it goes to, and the prefix of the columns there.

    A table whose lines are `named` has each name once; its first column is that name.  A line lacks
    something unless it has a value for each column in `needs` and for one at least in `one_of`.
    `also` are further columns that are typed on the sheet.
    """

    name: str
    sheet: str
    prefix: str
    line: str  # what one line of it is
    columns: tuple[Column, ...]
    needs: tuple[str, ...]
    one_of: tuple[str, ...] = ()
    named: bool = False
    also: tuple[str, ...] = ()

    def column(self, name: str) -> Column:
        """The column of a fixed heading."""
        return next(column for column in self.columns if column.name == name)

    @property
    def typed(self) -> tuple[str, ...]:
        """The workbook's columns that hold a line."""
        return (*(one.target for one in self.columns if one.target), *self.also)


def plain(heading: str) -> str:
    """A heading or word for comparing: without case, accents and signs.

    >>> plain("Pre-Boil  Gravity:"), plain("Gärung"), plain("boil_minutes")
    ('pre boil gravity', 'garung', 'boil minutes')
    """
    bare = unicodedata.normalize("NFKD", heading.casefold())
    bare = "".join(sign for sign in bare if not unicodedata.combining(sign))
    return re.sub(r"[\W_]+", " ", bare).strip()


_DATES = ("day", "when", "timestamp", "date and time", "date time", "datetime", "time stamp",
          "measured on", "measured at", "created at", "Datum", "Tag", "Zeitpunkt",
          "Datum und Uhrzeit", "Datum Uhrzeit")  # fmt: skip
_TIMES = Column("time", "the time of day, where it stands beside the date", "", TIME,
                ("clock", "time of day", "hour", "Uhrzeit", "Zeit"))  # fmt: skip
_NOTES = ("notes", "comment", "comments", "remark", "remarks", "Bemerkung", "Bemerkungen",
          "Notiz", "Notizen", "Kommentar", "Anmerkung")  # fmt: skip
_INSTRUMENTS = ("tool", "device", "meter", "measured with", "instrument name", "Messgerät", "Gerät",
                "gemessen mit")  # fmt: skip
_BATCHES = ("batch name", "batch number", "batch no", "batch no.", "batch #", "batch id", "brew",
            "brew name", "brew number", "brew no", "beer", "beer name", "recipe", "gyle", "lot",
            "Sud", "Sudnummer", "Sud Nr", "Charge", "Bier", "Rezept")  # fmt: skip
_SAMPLE = ("temp", "sample temperature", "sample temp", "sample", "wort temperature", "wort temp",
           "beer temperature", "beer temp", "Temperatur", "Probentemperatur",
           "Temp.", "Würzetemperatur")  # fmt: skip

YES_NO = {words.YES: ("y", "true", "1", "x", "atc", "ja", "j", "wahr"),
          words.NO: ("n", "false", "0", "nein", "falsch")}  # fmt: skip
_KINDS = {
    words.REFRACTOMETER: ("hand refractometer", "handheld refractometer", "prism", "Refraktometer",
                          "Handrefraktometer"),
    words.HYDROMETER: ("glass hydrometer", "saccharometer", "spindle", "Spindel", "Bierspindel",
                       "Aräometer", "Saccharometer", "Senkwaage"),
    words.FLOATING: ("floater", "float", "floating sensor", "electronic hydrometer",
                     "digital hydrometer", "Schwimmer",
                     "elektronische Spindel", "digitale Spindel"),
    words.THERMOMETER: ("temperature probe", "Thermometer"),
}  # fmt: skip
SCALES = {"Brix": ("°Bx", "Bx", "°Brix", "degrees Brix", "Grad Brix"),
          "SG": ("specific gravity", "s.g.", "relative density", "relative Dichte"),
          "Plato": ("°P", "P", "°Plato", "degrees Plato", "Grad Plato")}  # fmt: skip
_MADE_OF = {
    words.SUGAR: ("sucrose", "table sugar", "cane sugar", "water and sugar", "Zucker", "Saccharose",
                  "Haushaltszucker"),
    words.MALT_EXTRACT: ("extract", "dry extract", "dry malt extract", "dried malt extract", "dme",
                         "liquid malt extract", "lme", "wort", "Malzextrakt", "Würze"),
}  # fmt: skip
_AS = {
    words.AS_FOUND: ("found", "before adjustment", "before", "vorgefunden", "vor Justierung"),
    words.AS_LEFT: ("left", "after adjustment", "after", "adjusted", "hinterlassen",
                    "nach Justierung"),
}  # fmt: skip
_MATERIALS = {words.GLASS: ("Glas",), words.PLASTIC: ("polycarbonate", "Kunststoff", "Plastik")}
STAGES = {
    words.MASH: ("mashing", "in the mash", "Maische", "Maischen"),
    words.FIRST_RUNNINGS: ("first wort", "first running", "Vorderwürze"),
    words.RUNOFF_STAGE: ("run-off", "runnings", "lauter", "lautering", "sparge", "sparging",
                         "Läutern", "Abläutern", "Nachguss"),
    words.RUNOFF_END: ("end of runoff", "end of run-off", "last runnings", "final runnings",
                       "Glattwasser"),
    words.BEFORE_BOIL: ("pre-boil", "preboil", "start of boil", "before the boil", "kettle full",
                        "kettle-full", "Pfanne voll", "Pfannevoll", "Kochbeginn",
                        "vor dem Kochen"),
    words.DURING_BOIL: ("boil", "boiling", "in the boil", "Kochen", "während des Kochens"),
    words.AFTER_BOIL: ("post-boil", "postboil", "end of boil", "after the boil", "flameout",
                       "flame out", "knockout", "knock-out", "cast out", "Ausschlag",
                       "Ausschlagwürze", "Kochende", "nach dem Kochen"),
    words.INTO_FERMENTER: ("fermenter", "fermentor", "original gravity", "original", "og", "o.g.",
                           "pitching", "pitch", "start of fermentation", "Anstellen",
                           "Anstellwürze", "Stammwürze"),
    words.FERMENTING: ("fermentation", "ferment", "primary", "secondary", "in fermenter",
                       "in the fermenter", "Gärung", "Hauptgärung", "Nachgärung", "Jungbier"),
    words.PACKAGED: ("final gravity", "final", "fg", "f.g.", "packaging", "bottling", "bottled",
                     "kegging", "kegged", "racked", "Abfüllung", "abgefüllt", "Restextrakt",
                     "Endvergärung"),
}  # fmt: skip

#: Headings of a plan that do not name their stage.
PLAN_HEADINGS = {
    "into_fermenter_gravity": ("og", "original gravity", "target og", "Stammwürze"),
    "into_fermenter_volume": ("batch size", "batch volume", "fermenter volume", "Ausschlagmenge",
                              "Sudgröße", "Anstellmenge"),
    "packaged_gravity": ("fg", "final gravity", "target fg", "Restextrakt"),
    "before_boil_volume": ("boil size", "boil volume", "Pfannevollmenge"),
}  # fmt: skip


def _plan() -> Iterator[Column]:
    """Gravity and volume of each stage that a plan has them for."""
    for stage in words.PLANNED:
        for what, kind, names in (
            ("gravity", GRAVITY, ("gravity", "sg", "plato", "extract", "Extrakt", "Dichte")),
            ("volume", VOLUME, ("volume", "vol", "vol.", "Volumen", "Menge")),
        ):
            name = f"{words.key(stage)}_{what}"
            if name == f"{words.PACKAGED}_volume":  # a plan has none
                continue
            also = [f"{spelling} {last}" for spelling in (stage, *STAGES[stage]) for last in names]
            headings = (*also, *PLAN_HEADINGS.get(name, ()))
            yield Column(name, f"planned {what}, {stage}", f"batch_{name}", kind, headings)


INSTRUMENTS = Table(
    "instruments", words.SETUP, "inst", "instrument",
    (
        Column("name", "what the log calls it", "inst_name", TEXT,
               ("instrument", "instrument name", *_INSTRUMENTS, "Bezeichnung")),
        Column("kind", "blank: refractometer", "inst_kind", WORD,
               ("type", "type of instrument", "instrument type", "Art", "Typ"), _KINDS),
        Column("identity", "serial number or mark", "inst_identity", TEXT,
               ("mark", "serial", "serial number", "serial no", "s/n", "id", "inventory number",
                "Seriennummer", "Kennzeichen", "Inventarnummer")),
        Column("scale", "blank: °Brix of a refractometer, else SG", "inst_scale", WORD,
               ("unit", "units", "reads in", "Skala", "Einheit"), SCALES),
        Column("division", "smallest division of its scale", "inst_division", SCALE,
               ("smallest division", "graduation", "resolution", "Teilung", "Skalenteilung",
                "Auflösung")),
        Column("compensated", "for temperature, of a refractometer", "inst_compensated", WORD,
               ("compensates", "temperature compensated", "temperature compensation", "atc",
                "automatic temperature compensation", "kompensiert", "Temperaturkompensation"),
               YES_NO),
        Column("reference_temperature", "where a hydrometer reads true; blank: 20 °C",
               "inst_reference", TEMPERATURE,
               ("reads true at", "reference temp", "ref temp", "ref temperature",
                "calibration temperature", "calibrated at", "calibration temp",
                "Bezugstemperatur", "Referenztemperatur")),
        Column("tolerance", "largest offset that is put up with, in its own scale; blank: by kind",
               "inst_tolerated", SCALE,
               ("offset put up with", "largest offset", "accepted offset", "Toleranz",
                "zulässige Abweichung")),
        Column("check_every", "days from check to check; blank: by kind", "inst_interval", NUMBER,
               ("interval", "check interval", "interval in days", "days between checks",
                "Prüfintervall", "prüfen alle")),
        Column("material", "of a hydrometer: glass or plastic; blank: glass", "inst_material",
               WORD, ("made of", "Material", "Werkstoff"), _MATERIALS),
        Column("water_temperature", "second number of a scale such as 20/4; blank: the first",
               "inst_water", TEMPERATURE, ("against water at",)),
        Column("range_from", "lowest mark, in its own scale", "inst_low", SCALE,
               ("lowest", "range low", "minimum", "Messbereich von")),
        Column("range_to", "highest mark, in its own scale", "inst_high", SCALE,
               ("highest", "range high", "maximum", "Messbereich bis")),
        Column("compensates_from", "lowest temperature that it compensates for",
               "inst_compensates_from", TEMPERATURE, ("kompensiert von",)),
        Column("compensates_to", "highest temperature that it compensates for",
               "inst_compensates_to", TEMPERATURE, ("kompensiert bis",)),
        Column("read_within", "how finely you can read it, ± in its own scale; blank: by kind",
               "inst_fine", SCALE, ("readability", "how finely you can read it", "ablesbar auf")),
    ),
    needs=("name",), named=True,
)  # fmt: skip

CHECKS = Table(
    "checks", words.CALIBRATION, "check", "check",
    (
        Column("instrument", "its name on Setup; blank: the first there", "check_instrument", TEXT,
               ("name", *_INSTRUMENTS)),
        Column("date", "of the check, with the time if it is known", "check_date", DATE,
               ("checked on", "check date", "date of check", "Prüfdatum", "geprüft am", *_DATES)),
        _TIMES,
        Column("temperature", "of drop or jar; blank: 20 °C", "check_temperature", TEMPERATURE,
               _SAMPLE),
        Column("reading", "what it showed, in its own scale", "", SCALE,
               ("shown", "showed", "shows", "indicated", "indication", "measured", "as shown",
                "Anzeige", "Ablesung", "Messwert", "gemessen"), limits="check_shown_1"),
        Column("reference", "the true value; blank: water, or melting ice for a thermometer", "",
               SCALE,
               ("true", "true value", "reference value", "known", "should be", "expected", "actual",
                "standard", "Sollwert", "Referenz", "Soll", "wahrer Wert"),
               limits="check_known_2"),
        Column("reference_in", "scale of the true value; blank: that of the instrument",
               "check_known_in", WORD,
               ("reference scale", "reference unit", "true values in", "Referenz in"), SCALES),
        Column("made_of", "what the solution was made of: sugar or malt extract; blank: sugar",
               "check_made_of", WORD,
               ("solution", "solution made of", "made with", "solute", "Lösung", "Lösung aus"),
               _MADE_OF),
        Column("as", "found or left; blank: found", "check_as", WORD,
               ("as found or left", "found or left", "as found as left", "state", "Zustand"), _AS),
        Column("who", "who checked", "check_who", TEXT,
               ("by", "checked by", "person", "initials", "operator", "Prüfer", "geprüft von",
                "wer")),
        Column("note", "what was done", "check_note", TEXT,
               ("what was done", "action", *_NOTES)),
    ),
    needs=("date", "reading"),
    also=("check_shown_1", "check_shown_2", "check_known_2", "check_shown_3", "check_known_3"),
)  # fmt: skip

BATCHES = Table(
    "batches", words.BATCHES, "batch", "batch",
    (
        Column("batch", "name or number", "batch_name", TEXT, ("name", *_BATCHES)),
        Column("date", "brew day", "batch_date", DATE,
               ("brew day", "brewday", "brew date", "brewed on", "brewed", "Brautag", "gebraut am",
                "Braudatum", *_DATES)),
        Column("grain", "mass of all the grain", "batch_grain", MASS,
               ("grist", "grain mass", "grain weight", "grain bill", "total grain", "malt",
                "Schüttung", "Malz", "Malzmenge")),
        Column("boil_minutes", "length of the boil", "batch_minutes", NUMBER,
               ("boil", "boil time", "boil length", "boil duration", "minutes of boil", "boil min",
                "Kochzeit", "Kochdauer")),
        *_plan(),
        Column("grain_extract", "extract of the grain, a share of its mass; blank: that of Setup",
               "batch_potential", SHARE, ("its extract", "extract potential", "Extraktgehalt")),
        Column("gravity_within", "how far off is still on target, in the scale of the workbook",
               "batch_tolerance", NUMBER, ("gravity tolerance",)),
        Column("volume_within", "how far off is still on target", "batch_tolerance_volume", VOLUME,
               ("volume tolerance",)),
        Column("note", "note or customer", "batch_note", TEXT,
               ("customer", "for", "Kunde", *_NOTES)),
    ),
    needs=("batch",), named=True,
)  # fmt: skip

LOG = Table(
    "log", words.LOG, "log", "reading",
    (
        Column("date", "with the time if it is known; blank: the brew day", "log_date", DATE,
               _DATES),
        _TIMES,
        Column("batch", "its name on Batches", "log_batch", TEXT, _BATCHES),
        Column("stage", "one of: " + ", ".join(words.STAGES), "log_stage", WORD,
               ("step", "phase", "process step", "where", "Stufe", "Schritt", "Phase",
                "Prozessschritt"), STAGES),
        Column("instrument", "its name on Setup; blank: the first there", "log_instrument", TEXT,
               _INSTRUMENTS),
        Column("reading", "what the instrument showed, in its own scale", "log_reading", SCALE,
               ("shown", "as shown", "value", "measured", "measurement", "gravity", "sg",
                "specific gravity", "brix", "plato", "bx", "density", "extract", "gravity reading",
                "Ablesung", "Messwert", "Anzeige", "Dichte", "Extrakt", "Wert")),
        Column("temperature", "of drop or jar", "log_temperature", TEMPERATURE, _SAMPLE),
        Column("volume", "of the wort", "log_volume", VOLUME,
               ("vol", "vol.", "wort volume", "amount", "quantity", "Volumen", "Menge",
                "Würzemenge")),
        Column("volume_temperature", "of the wort when its volume was read; blank: 20 °C",
               "log_volume_temperature", TEMPERATURE,
               ("volume temp", "volume read at", "temperature of the volume", "kettle temperature",
                "kettle temp", "Temperatur der Menge", "Volumentemperatur")),
        Column("ph", "of the cooled sample", "log_ph", NUMBER, ("ph value", "acidity", "pH-Wert")),
        Column("leave_out", "yes: not used for own factors", "log_leave", WORD,
               ("leave out", "exclude", "excluded"), YES_NO),
        Column("note", "", "log_note", TEXT, _NOTES),
    ),
    needs=("batch", "stage"), one_of=("reading", "volume", "ph"),
)  # fmt: skip

_SHARED = ("batch", "date", "grain", "boil_minutes", *(column.name for column in _plan()),
           "gravity_within")  # fmt: skip
#: Plans that are printed for whoever brews them, and go into no workbook.
RECIPES = Table(
    "recipes", words.BATCHES, "batch", "recipe",
    (
        *(column for column in BATCHES.columns if column.name in _SHARED),
        Column("customer", "whom the page is for", "", TEXT,
               ("for", "customer name", "name of customer", "Kunde", "Kundin", "für")),
        Column("refractometer", "its name on Setup of the workbook with its checks", "", TEXT,
               ("instrument", *_INSTRUMENTS, "Refraktometer")),
        Column("note", "printed under the head", "", TEXT, _NOTES),
    ),
    needs=("batch",),
)  # fmt: skip

TABLES: Mapping[str, Table] = {table.name: table for table in (INSTRUMENTS, CHECKS, BATCHES, LOG)}

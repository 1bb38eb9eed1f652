"""The words that sheets, reader, report and audit share, and the choices of a new workbook."""

from __future__ import annotations

from dataclasses import dataclass

REFRACTOMETER, HYDROMETER, FLOATING = "refractometer", "hydrometer", "floating hydrometer"
THERMOMETER = "thermometer"
KINDS = (REFRACTOMETER, HYDROMETER, FLOATING, THERMOMETER)
#: The kind of an instrument in whose line on Setup an error stands.
BROKEN = "an error stands in its line on Setup"
SCALES = ("Brix", "SG", "Plato")
GLASS, PLASTIC = "glass", "plastic"
#: How the marks of a kettle were made.
COLD, HOT = "cold", "hot"
YES, NO = "yes", "no"
#: A check before anything was done to the instrument, and after.
AS_FOUND, AS_LEFT = "as found", "as left"
#: What a reference solution was made of.
SUGAR, MALT_EXTRACT = "sugar", "malt extract"
#: Where a factor comes from.
COMMON, TYPED, OWN = "common", "typed", "own"

MASH, FIRST_RUNNINGS, RUNOFF_STAGE, RUNOFF_END = "mash", "first runnings", "runoff", "runoff end"
BEFORE_BOIL, DURING_BOIL, AFTER_BOIL = "before boil", "during boil", "after boil"
INTO_FERMENTER, FERMENTING, PACKAGED = "into fermenter", "fermenting", "packaged"
#: Stages of a batch in the order of the day.
STAGES = (
    MASH,
    FIRST_RUNNINGS,
    RUNOFF_STAGE,
    RUNOFF_END,
    BEFORE_BOIL,
    DURING_BOIL,
    AFTER_BOIL,
    INTO_FERMENTER,
    FERMENTING,
    PACKAGED,
)
#: Stages that a plan has a gravity for; of all but the last it has a volume too.
PLANNED = (FIRST_RUNNINGS, RUNOFF_END, BEFORE_BOIL, AFTER_BOIL, INTO_FERMENTER, PACKAGED)


def stage(word: str) -> int:
    """Number of a stage, from 1."""
    return STAGES.index(word) + 1


def planned(word: str) -> int:
    """Number of a stage among those of a plan, from 1."""
    return PLANNED.index(word) + 1


def key(words: str) -> str:
    """Words as part of a name: `before boil` is `before_boil`."""
    return words.replace(" ", "_")


#: Cautions that stand wherever somebody may need them.
BOIL_CAUTION = (
    "Boiling wort scalds: sample with a ladle. It boils over when extract, sugar or hops go in: "
    "heat off, stir."
)
GLASS_CAUTION = (
    "Hot wort cracks glass: cool the sample before it meets a hydrometer jar or a prism."
)
GAS_CAUTION = "Fermentation fills closed rooms with carbon dioxide: air them before you go in."
BOTTLES_CAUTION = (
    "Bottles burst when beer is not finished. A refractometer alone does not prove that "
    "fermentation has ended: package on hydrometer readings that stay the same over days."
)
LABEL_CAUTION = "Alcohol for a label or for tax needs the method that your authority approves."
RULES_CAUTION = (
    "These figures support your judgement; local rules and licensed practice come first."
)

VOLUME_UNITS = ("L", "hL", "US gal", "imp gal", "US bbl", "UK bbl")
TEMPERATURE_UNITS = ("C", "F")
GRAVITY_SCALES = ("SG", "Plato")
MASS_UNITS = ("kg", "lb")

START, SETUP, CALIBRATION, BATCHES, LOG = "Start", "Setup", "Calibration", "Batches", "Log"
RUNOFF, KETTLE, TARGETS, FERMENTATION = "Runoff", "Kettle", "Targets", "Fermentation"
FACTORS, BATCH_SHEET, CONVERT = "Own factors", "Batch sheet", "Convert"
STANDARDS, BLEND = "Standards", "Blend"

#: Marks a workbook as one of ours, and says which layout it has.
#: So many lines of the log go with a line for a batch.
_ROWS_OF_BATCH = 8
LAYOUT_NAME, LAYOUT_VERSION = "gravity_log_layout", 2


@dataclass(frozen=True)
class Choices:
    """What a new workbook is built for."""

    rows: int = 200
    units: str = "metric"  # or "us"
    gravity: str = "sg"  # or "plato"
    example: bool = False
    instruments: int = 6
    checks: int = 60
    plain: bool = False  # formulas that need no functions of ours

    @property
    def batches(self) -> int:
        """Lines for batches, so many that the log is full first."""
        return max(20, self.rows // _ROWS_OF_BATCH)

    @staticmethod
    def rows_for(batches: int) -> int:
        """The least number of lines of the log with so many lines for batches."""
        return _ROWS_OF_BATCH * batches if batches > Choices(rows=1).batches else 1

    @property
    def volume_unit(self) -> str:
        """Unit of volumes that a new workbook starts with."""
        return "US gal" if self.units == "us" else "L"

    @property
    def temperature_unit(self) -> str:
        """Unit of temperatures that a new workbook starts with."""
        return "F" if self.units == "us" else "C"

    @property
    def mass_unit(self) -> str:
        """Unit of masses that a new workbook starts with."""
        return "lb" if self.units == "us" else "kg"

    @property
    def gravity_scale(self) -> str:
        """Scale of gravities that a new workbook starts with."""
        return "Plato" if self.gravity == "plato" else "SG"

    @property
    def gravity_digits(self) -> int:
        """Decimals of a gravity on that scale."""
        return 1 if self.gravity == "plato" else 4

    @property
    def fine_gravity_digits(self) -> int:
        """Decimals of a gravity that was measured or computed, of its ± and of differences."""
        return 2 if self.gravity == "plato" else 4

    @property
    def gravity_format(self) -> str:
        """Number format of a gravity on that scale, as typed."""
        return "0.0#" if self.gravity == "plato" else "0.000#"

    @property
    def fine_gravity_format(self) -> str:
        """The same with its last digit always shown, for what was measured or computed."""
        return self.gravity_format.replace("#", "0")

"""The words that sheets, readers and reports share, and the choices of a new workbook."""

from __future__ import annotations

from dataclasses import dataclass

REFRACTOMETER, HYDROMETER, FLOATING = "refractometer", "hydrometer", "floating hydrometer"
THERMOMETER = "thermometer"
KINDS = (REFRACTOMETER, HYDROMETER, FLOATING, THERMOMETER)
HYDROMETER_SCALES = ("SG", "Plato")
YES, NO = "yes", "no"
#: A check before anything was done to the instrument, and after.
AS_FOUND, AS_LEFT = "as found", "as left"
#: Scales of a reference solution.
REFERENCE_SCALES = ("SG", "Brix", "Plato")
#: Factors with which a refractometer reading of beer is corrected for alcohol.
DEFAULT, FITTED = "default", "fitted"

INTO_FERMENTER = "into fermenter"
#: Stages that have a target, in the order of the day.
TARGET_STAGES = (
    "first runnings",
    "runoff end",
    "before boil",
    "after boil",
    INTO_FERMENTER,
)
#: Stages at which yeast is at work, so that a refractometer needs a correction for alcohol.
FERMENTED_STAGES = ("fermenting", "packaged")
STAGES = (
    "mash",
    "first runnings",
    "runoff",
    "runoff end",
    "before boil",
    "during boil",
    "after boil",
    INTO_FERMENTER,
    *FERMENTED_STAGES,
)

VOLUME_UNITS = ("L", "hL", "US gal", "imp gal", "US bbl", "UK bbl")
TEMPERATURE_UNITS = ("C", "F")
GRAVITY_SCALES = ("SG", "Plato")
MASS_UNITS = ("kg", "lb")

START, SETUP, CALIBRATION, LOG, TARGETS = "Start", "Setup", "Calibration", "Log", "Targets"
RUNOFF, KETTLE, BLEND, CARD = "Runoff", "Kettle", "Blend", "Batch sheet"
#: Heading of steps that hold a function's answer as it is, refusals included.
ANSWERED = "As answered"
PAIRS, FERMENTATION = "Pairs", "Fermentation"
STANDARDS = "Standards"

#: Marks a workbook as one of ours, and says which layout it has.
LAYOUT_NAME, LAYOUT_VERSION = "gravity_log_layout", 1


@dataclass(frozen=True)
class Choices:
    """What a new workbook is built for."""

    rows: int = 40
    units: str = "metric"  # or "us"
    gravity: str = "sg"  # or "plato"
    example: bool = False
    instruments: int = 6
    checks: int = 60

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
        """Scale of targets that a new workbook starts with."""
        return "Plato" if self.gravity == "plato" else "SG"

    @property
    def gravity_digits(self) -> int:
        """Decimals of a gravity on that scale."""
        return 1 if self.gravity == "plato" else 4

    @property
    def gravity_format(self) -> str:
        """Number format of a gravity on that scale."""
        return "0.0#" if self.gravity == "plato" else "0.000#"

    @property
    def fine_gravity_format(self) -> str:
        """The same with its last digit always shown, for what was measured or computed."""
        return self.gravity_format.replace("#", "0")

"""The cell functions by topic; importing this package fills the catalogue."""

from xlfuncs.cells.catalogue import CATALOGUE
from xlfuncs.functions import (
    beer,
    brewday,
    calibration,
    fermentation,
    gravity,
    host,
    instruments,
    volumes,
)

__all__ = [
    "CATALOGUE",
    "beer",
    "brewday",
    "calibration",
    "fermentation",
    "gravity",
    "host",
    "instruments",
    "volumes",
]

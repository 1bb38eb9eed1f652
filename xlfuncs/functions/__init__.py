"""The cell functions by topic; importing this package fills the catalogue."""

from xlfuncs.cells.catalogue import CATALOGUE
from xlfuncs.functions import calibration, checks, gravity, host, instruments, volumes

__all__ = ["CATALOGUE", "calibration", "checks", "gravity", "host", "instruments", "volumes"]

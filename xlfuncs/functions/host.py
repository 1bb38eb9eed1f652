"""Host: is the function server there?"""

from __future__ import annotations

from xlfuncs import __version__
from xlfuncs.cells.catalogue import cell_function

CATEGORY = "Host"


@cell_function(CATEGORY)
def CELLS_VERSION() -> str:
    """Version of the functions; a workbook uses it to show whether they are loaded.

    >>> from xlfuncs import __version__
    >>> CELLS_VERSION() == __version__
    True
    """
    return __version__

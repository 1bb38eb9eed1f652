"""The module that a spreadsheet loads: every cell function by name, nothing else.

Name `xlfuncs.udfs` as the UDF module in the xlwings add-in.
"""

import xlwings as _xlwings

from xlfuncs.functions import CATALOGUE as _CATALOGUE
from xlfuncs.hosts.excel.registration import register as _register

globals().update(_register(_xlwings, _CATALOGUE))

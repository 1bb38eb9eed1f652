"""Registration and calls through xlwings' own Windows code, with stand-ins for Windows alone.

Everything of xlwings is the installed package; what is replaced is pywin32 and the DLLs under it,
and the Excel at the other end: ranges that hold what COM hands over.
"""

import contextlib
import ctypes
import datetime as dt
import decimal
import importlib
import re
import subprocess
import sys
import types
from unittest import mock

import pytest

from tests.functions.catalogue_cases import example, good_call, is_cell
from xlfuncs.cells.quantities import Takes
from xlfuncs.functions import CATALOGUE

MISSING = -2147352572  # what VBA hands over for an argument left out
NOT_AVAILABLE, DIVISION = -2146826246, -2146826281  # #N/A and #DIV/0! as COM gives them
RANGE_ID = "{00020846-0000-0000-C000-000000000046}"
MODULE = "xlfuncs.udfs"


class ComTime(dt.datetime):
    """pywin32's own time type."""


class ComError(Exception):
    hresult = 0


def _stand_ins():
    names = """pythoncom pywintypes win32api win32con win32event win32gui win32process win32timezone
    win32com win32com.client win32com.server win32com.server.dispatcher win32com.server.policy
    win32com.server.util"""
    modules = {name: mock.MagicMock(name=name) for name in names.split()}
    modules["pythoncom"].__file__ = "pythoncom.dll"
    modules["pywintypes"].TimeType = ComTime
    modules["pywintypes"].IID = str
    modules["pywintypes"].com_error = ComError
    for name in ("CDispatch", "CoClassBaseClass", "DispatchBaseClass"):
        setattr(modules["win32com.client"], name, type(name, (), {}))
    modules["win32com"].client = modules["win32com.client"]
    modules["win32com"].server = modules["win32com.server"]
    return modules


@pytest.fixture(scope="module")
def xlwings():
    """The installed xlwings as it is on Windows, and `xlfuncs.udfs` imported with it."""

    stand_ins = _stand_ins()

    def taken_out():
        """Modules of xlwings and of Windows; others stay, for some cannot be loaded twice."""
        names = [
            name
            for name in sys.modules
            if name.split(".")[0] == "xlwings" or name == MODULE or name in stand_ins
        ]
        return {name: sys.modules.pop(name) for name in names}

    with contextlib.ExitStack() as stack, mock.patch("atexit.register"):
        stack.callback(sys.modules.update, taken_out())
        stack.callback(taken_out)
        sys.modules.update(stand_ins)
        with (
            mock.patch.object(sys, "platform", "win32"),
            mock.patch.multiple(
                ctypes, create=True, windll=mock.MagicMock(), oledll=mock.MagicMock(),
                PyDLL=mock.MagicMock(),
            ),
        ):  # fmt: skip
            package = importlib.import_module("xlwings")
        assert package.has_pywin32
        assert package.func is package.udfs.xlfunc
        package.udfs.udf_modules.clear()
        yield package
    parent = sys.modules["xlfuncs"]
    if MODULE in sys.modules:
        parent.udfs = sys.modules[MODULE]
    elif hasattr(parent, "udfs"):
        del parent.udfs


@pytest.fixture
def workbook():
    """An Excel workbook that notes what is imported into it and how it is described."""
    book = mock.MagicMock()
    book.Name = "gravity log.xlsm"
    book.Application.Version = "16.0"
    book.imported = []

    def keep(path):
        with open(path) as file:  # noqa: PTH123
            book.imported.append(file.read())

    book.VBProject.VBComponents.Import.side_effect = keep
    return book


@pytest.fixture
def imported(xlwings, workbook):
    # A workbook from which nothing is embedded: xlwings need not look into its sheets.
    with mock.patch.object(xlwings.udfs, "Book", return_value=mock.MagicMock(sheets=[])):
        xlwings.udfs.import_udfs(MODULE, workbook)
    return workbook


class Cells:
    """A range as COM shows it: `Value` is one value, or a tuple of rows."""

    def __init__(self, value):
        self.Value = value
        rows = value if isinstance(value, tuple) else ((value,),)
        self.Row = self.Column = 1
        self.Rows = types.SimpleNamespace(Count=len(rows))
        self.Columns = types.SimpleNamespace(Count=len(rows[0]))
        self.Count = self.Rows.Count * self.Columns.Count
        self.Worksheet = mock.MagicMock()
        self._oleobj_ = mock.MagicMock()
        self._oleobj_.GetTypeInfo().GetTypeAttr().iid = RANGE_ID


def column(*cells):
    return Cells(tuple((cell,) for cell in cells)) if len(cells) > 1 else Cells(cells[0])


@pytest.fixture
def call(xlwings):
    def call(name, *arguments):
        given = list(arguments) + [MISSING] * (len(CATALOGUE[name].arguments) - len(arguments))
        return xlwings.udfs.call_udf(MODULE, name, tuple(given), None, mock.MagicMock())

    return call


# --- registration ------------------------------


def test_every_function_is_found(xlwings):
    module = importlib.import_module(MODULE)
    found = {
        value.__xlfunc__["name"]: value.__xlfunc__
        for value in vars(module).values()
        if hasattr(value, "__xlfunc__")
    }
    assert found.keys() == CATALOGUE.keys()
    for name, function in CATALOGUE.items():
        registered = found[name]
        assert registered["category"] == function.category
        assert not registered["sub"]
        assert not registered["volatile"]
        assert [a["name"] for a in registered["args"]] == [a.name for a in function.arguments]
        for argument, declared in zip(registered["args"], function.arguments, strict=True):
            assert argument["doc"] == declared.help
            assert not argument["vararg"]
            assert ("optional" in argument) == declared.optional
            if declared.optional:
                assert argument["optional"] == declared.default


def test_generated_vba(imported):
    (vba,) = imported.imported
    assert vba.startswith('Attribute VB_Name = "xlwings_udfs"')
    for name, function in CATALOGUE.items():
        words = [
            f"Optional {argument.name}" if argument.optional else argument.name
            for argument in function.arguments
        ]
        assert f"\nFunction {name}({', '.join(words)})\n" in vba
        names = ", ".join(argument.name for argument in function.arguments)
        assert f'XLPy.CallUDF("{MODULE}", "{name}", Array({names}), ThisWorkbook,' in vba
    functions = re.findall(r"^Function (\w+)\(", vba, re.MULTILINE)
    assert sorted(functions) == sorted(CATALOGUE)
    assert max(map(len, vba.splitlines())) <= 1023, "the longest line that VBA takes"
    assert vba.isascii(), "VBA is read in the code page of the machine"


@pytest.mark.parametrize("addin", [False, True])
def test_the_wrappers_are_those_that_xlwings_imports(imported, xlwings, workbook, addin):
    """Ours are made without Windows; they are the same, line by line."""
    if addin:
        workbook.Name = "xlfuncs.xlam"
        with mock.patch.object(xlwings.udfs, "Book", return_value=mock.MagicMock(sheets=[])):
            xlwings.udfs.import_udfs(MODULE, workbook)
    made = subprocess.run(
        [
            sys.executable,
            "-c",
            f"from xlfuncs.hosts.excel import wrappers; print(wrappers.wrappers(addin={addin}))",
        ],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    assert made == workbook.imported[-1] + "\n"


def test_help_in_the_function_wizard(imported):
    described = {
        options.args[0]: options.kwargs
        for options in imported.Application.MacroOptions.call_args_list
    }
    assert described.keys() == {f"'{imported.Name}'!{name}" for name in CATALOGUE}
    for name, function in CATALOGUE.items():
        options = described[f"'{imported.Name}'!{name}"]
        assert options["Category"] == function.category
        assert options["Description"] == function.documentation.summary
        help_texts = [argument.help for argument in function.arguments]
        assert options["ArgumentDescriptions"] == (help_texts or None)


# --- calls ------------------------------


def test_numbers(call):
    assert call("WORT_SG", 12.4) == [[pytest.approx(1.04806, abs=1e-5)]]
    assert call("WORT_SG", 12.4, 1.04) == call("WORT_SG", 12.4) == call("WORT_SG", Cells(12.4))
    assert call("GRAVITY_CONVERT", 1.048, "SG", "°P") == [[pytest.approx(11.91, abs=0.005)]]


def test_blank_cells(call):
    assert call("WORT_SG", Cells(None)) == [[""]]
    assert call("WORT_SG", Cells(12.4), Cells(None)) == call("WORT_SG", 12.4)
    assert call("WORT_SG", column(None, "", 12.4))[:2] == [[""], [""]]


def test_a_column_with_everything_in_it(call):
    moment = ComTime(2026, 3, 14, 18, tzinfo=dt.UTC)
    cells = (12.4, None, "abc", NOT_AVAILABLE, "! earlier", True, moment, 140.0, "12,4", DIVISION)
    answer = call("WORT_SG", column(*cells))
    assert answer == [
        [pytest.approx(1.04806, abs=1e-5)],
        [""],
        ['! brix "abc" is not a number'],
        ["#N/A"],
        ["! earlier"],
        ["! brix TRUE is not a number"],
        ["! brix 2026-03-14 18:00:00 is a date, not a number"],
        ["! brix 140 is outside -1 to 45"],
        [pytest.approx(1.04806, abs=1e-5)],
        ["#DIV/0!"],
    ]


def test_rows_and_blocks(call):
    one = call("WORT_SG", 12.4)[0][0]
    other = call("WORT_SG", 10.0)[0][0]
    assert call("WORT_SG", Cells(((12.4, 10.0),))) == [[one, other]]
    assert call("WORT_SG", Cells(((12.4, 10.0), (10.0, None)))) == [[one, other], [other, ""]]
    assert call("WORT_SG", ((12.4, 10.0),)) == [[one, other]], "an array constant in the formula"


def test_two_ranges_and_a_cell(call):
    answer = call("REFRACTOMETER_BRIX", column(12.4, 12.4), column(20.0, None), Cells(0.2))
    assert answer == [[pytest.approx(12.2)], [pytest.approx(12.2)]]
    assert call("REFRACTOMETER_BRIX", column(12.4, 12.4), column(20.0, 20.0, 20.0)) == [
        ["! ranges do not fit together: reading is 2 x 1, temperature is 3 x 1"]
    ]


def test_whole_ranges_and_answers_in_columns(call):
    answer = call("CALIBRATION_FIT", column(0.2, 10.3, None, 20.4), column(0.0, 10.0, 15.0, 20.0))
    assert len(answer) == 1
    assert len(answer[0]) == len(CATALOGUE["CALIBRATION_FIT"].columns)
    assert answer[0][:2] == [pytest.approx(0.2), pytest.approx(1.01)]
    assert call("CALIBRATION_FIT", Cells(0.3), Cells(0.0))[0][4] == "", "no NaN on the way out"


# --- every function, with everything that Excel sends ------------------------------

MOMENT = dt.datetime(2026, 3, 14, 18, tzinfo=dt.UTC)
#: What COM hands over for a cell, and what that cell holds.
SENT = {
    "blank": (None, None),
    "empty text": ("", ""),
    "text": ("abc", "abc"),
    "number as text": ("12,4", "12,4"),
    "refusal": ("! earlier", "! earlier"),
    "truth": (True, True),
    "date": (ComTime(2026, 3, 14, 18, tzinfo=dt.UTC), MOMENT.replace(tzinfo=None)),
    "money": (decimal.Decimal("12.4"), 12.4),
    "integer": (12, 12),
    # XlCVError: each number with 0x800A before it.
    **{
        text: (number - 0x7FF60000, text)
        for number, text in {
            2000: "#NULL!", 2007: "#DIV/0!", 2015: "#VALUE!", 2023: "#REF!", 2029: "#NAME?",
            2036: "#NUM!", 2042: "#N/A", 2043: "#GETTING_DATA", 2045: "#SPILL!",
            2046: "#CONNECT!", 2047: "#BLOCKED!", 2048: "#UNKNOWN!", 2049: "#FIELD!",
            2050: "#CALC!",
        }.items()
    },
}  # fmt: skip
SHAPES = {"column": (6, 1), "row": (1, 6), "block": (3, 2)}
ARGUMENTS = [(name, a.name) for name, f in CATALOGUE.items() for a in f.arguments]


def shaped(cells, shape):
    rows, columns = shape
    return tuple(tuple(cells[row * columns : (row + 1) * columns]) for row in range(rows))


def rows_of(answer):
    """An answer in the shape in which Excel wants it: rows of cells."""
    return answer if isinstance(answer, list) else [[answer]]


def check(function, answer, given):
    """The answer is what the function gives for the plain values, and can be shown."""
    expected = rows_of(function.callable()(*given))
    assert answer == expected
    assert type(answer) is list
    assert {type(row) for row in answer} == {list}
    assert len({len(row) for row in answer}) == 1, "all rows of one length"
    assert all(is_cell(cell) for row in answer for cell in row)
    if function.columns:
        assert len(answer[0]) in (1, len(function.columns))


@pytest.mark.parametrize("shape", ["cell", *SHAPES])
@pytest.mark.parametrize("name", CATALOGUE)
def test_good_values_in_every_shape(call, name, shape):
    function = CATALOGUE[name]
    sent, given = [], []
    for argument in function.arguments:
        cells = [example(argument, i) for i in range(6)]
        if argument.takes is Takes.CELL or shape == "cell":
            sent.append(Cells(cells[0]))
            given.append(cells[0])
        else:
            block = shaped(cells, SHAPES[shape])
            sent.append(Cells(block))
            given.append([list(row) for row in block])
    answer = call(name, *sent)
    check(function, answer, given)
    ranges = any(argument.takes is not Takes.CELL for argument in function.arguments)
    if shape != "cell" and ranges and not function.columns and not function.answers_whole:
        assert (len(answer), len(answer[0])) == SHAPES[shape]


@pytest.mark.parametrize(("name", "wanted"), ARGUMENTS)
def test_whatever_a_cell_holds(call, name, wanted):
    function = CATALOGUE[name]
    [place] = [i for i, a in enumerate(function.arguments) if a.name == wanted]
    argument = function.arguments[place]
    usual = [column_of(cells) for cells in good_call(function, size=len(SENT))]
    plain = good_call(function, size=len(SENT))
    if argument.takes is Takes.CELLS:  # one call for all, a cell each
        held = [example(argument), *[cell for _, cell in SENT.values()]]
        usual[place] = column(example(argument), *[cell for cell, _ in SENT.values()])
        plain[place] = [[cell] for cell in held]
        check(function, call(name, *usual), plain)
        return
    for sent, cell in SENT.values():
        if argument.takes is Takes.CELL:
            usual[place], plain[place] = Cells(sent), cell
        else:
            rest = [example(argument, i) for i in range(1, len(SENT))]
            usual[place], plain[place] = column(sent, *rest), [[cell], *[[c] for c in rest]]
        check(function, call(name, *usual), plain)


def column_of(cells):
    return column(*[cell for (cell,) in cells]) if isinstance(cells, list) else Cells(cells)


@pytest.mark.parametrize("name", CATALOGUE)
def test_optional_arguments_left_out(call, name):
    """Excel hands over a mark for each; the function puts its own default there."""
    function = CATALOGUE[name]
    required = [a for a in function.arguments if not a.optional]
    given = good_call(function, size=6)
    for count in range(len(required), len(given) + 1):
        check(function, call(name, *map(column_of, given[:count])), given[:count])


@pytest.mark.parametrize(("sent", "cell"), SENT.values(), ids=SENT)
def test_values_written_into_the_formula(call, sent, cell):
    """=WORT_SG(#N/A) and the like: a value instead of a range; so are arrays in braces."""
    function = CATALOGUE["WORT_SG"]
    check(function, call("WORT_SG", sent), [[[cell]]])
    check(function, call("WORT_SG", ((12.4, sent),)), [[[12.4, cell]]])


@pytest.mark.parametrize("name", CATALOGUE)
def test_every_function_answers_blank_cells(call, name):
    function = CATALOGUE[name]
    required = [argument for argument in function.arguments if not argument.optional]
    if not required:
        assert call(name) == [[CATALOGUE[name].callable()()]]
        return
    whole = any(argument.takes is Takes.RANGE for argument in required)
    cells = [
        column(None, None) if argument.takes is not Takes.CELL else Cells(None)
        for argument in required
    ]
    answer = call(name, *cells)
    width = len(function.columns) or 1
    assert {len(row) for row in answer} == {width}
    assert len(answer) == (1 if whole or all(a.takes is Takes.CELL for a in required) else 2)
    assert {cell for row in answer for cell in row} == {""}

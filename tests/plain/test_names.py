"""The functions as named LAMBDAs, computed by two engines that others wrote."""

import functools
import io
import math
import re
import zipfile

import pytest
import xlsxwriter

from tests.functions.catalogue_cases import all_limits, example, good_call
from tests.plain.sheets import TYPED
from xlfuncs.cells import boundary
from xlfuncs.cells.catalogue import CATALOGUE
from xlfuncs.cells.quantities import Number
from xlfuncs.plain import names, names_file
from xlfuncs.plain.measured import alike
from xlfuncs.science import gravity, units

NAMES = {name.name: name for name in names.all_names()}
FUNCTIONS = [CATALOGUE[name] for name in NAMES if name in CATALOGUE]


def _cases():
    """Calls of the catalogue: good ones, on and beyond each limit, typed wrongly."""
    found = []
    for function in FUNCTIONS:
        good = good_call(function)
        found.append((function, good))
        found.append((function, names_file.example(function)))
        for place, argument in enumerate(function.arguments):
            if isinstance(argument.quantity, Number):
                moved = [*good]
                moved[place] = example(argument, 3) if not argument.optional else good[place]
                found.append((function, moved))
            found += [(function, [*good[:place], typed, *good[place + 1 :]]) for typed in TYPED]
        required = [a for a in function.arguments if not a.optional]
        found.append((function, good[: len(required)]))
    for limits in all_limits():
        if limits.function in FUNCTIONS:
            low, high = limits.quantity.low, limits.quantity.high
            for cell in (low, high, low - 0.01 * abs(low) - 0.01, high * 1.01 + 0.01):
                found.append((limits.function, limits.call(cell)))
    words = list(gravity.SCALES)
    found += [
        (CATALOGUE["GRAVITY_CONVERT"], [gravity.SCALES[one].high * 0.5, one, other])
        for one in words
        for other in words
    ]
    found += [
        (CATALOGUE["UNIT_CONVERT"], [5.0, one, other])
        for one in units.UNITS
        for other in list(units.UNITS)[::3]
    ]
    return found


CASES = _cases()


def _file(*, without_optional: bool) -> bytes:
    """The names, and one row for each case: its answer, then its arguments.

    formulon 0.18 does not know the mark of an optional argument; for it every call names all, those
    left out as blank cells.
    """
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer)
    sheet = book.add_worksheet()
    for name in NAMES.values():
        stored = name.stored.replace("_xlop.", "_xlpm.") if without_optional else name.stored
        book.define_name(name.name, "=" + stored)
    for row, (function, case) in enumerate(CASES):
        addresses = []
        for column, cell in enumerate(case, start=1):
            if cell is not None:
                sheet.write(row, column, cell)
            addresses.append(xlsxwriter.utility.xl_rowcol_to_cell(row, column))
        if without_optional:
            addresses += ["Z1"] * (len(function.arguments) - len(case))
        call = f"{function.name}({','.join(addresses)})"
        call = f"INDEX({call},1,1)" if function.columns else call
        sheet.write_dynamic_array_formula(row, 0, row, 0, "=" + call, None, "not computed")
    book.close()
    return buffer.getvalue()


def _right(function, case):
    answer = boundary.answer(function, [cell if cell is not None else None for cell in case])
    return answer[0][0] if isinstance(answer, list) else answer


@functools.cache
def _answers():
    """What the functions answer to the cases."""
    return [_right(function, case) for function, case in CASES]


def _unlike(answers):
    """The cases in which an engine answers otherwise than the function."""
    found = []
    for (function, case), right, answer in zip(CASES, _answers(), answers, strict=True):
        answer = "" if answer is None else answer
        if isinstance(right, float):
            good = isinstance(answer, float | int) and math.isclose(
                answer, right, rel_tol=1e-9, abs_tol=1e-9
            )
        else:
            good = isinstance(answer, str) and alike(answer, right)
        if not good:
            found.append((function.name, case, right, answer))
    return found


def test_ironcalc_computes_every_name_as_the_function_does(tmp_path):
    engine = pytest.importorskip("ironcalc")
    path = tmp_path / "names.xlsx"
    path.write_bytes(_file(without_optional=False))
    model = engine.load_from_xlsx(str(path), "en", "UTC", "en")
    model.evaluate()
    unlike = _unlike([model.get_cell_value(0, row + 1, 1) for row in range(len(CASES))])
    assert not unlike, f"{len(unlike)} of {len(CASES)}: {unlike[:5]}"


def test_formulon_computes_every_name_as_the_function_does():
    engine = pytest.importorskip("formulon")
    book = engine.Workbook.load(_file(without_optional=True))
    book.recalc()
    answers = [book.get_value(0, row, 0).to_python() for row in range(len(CASES))]
    unlike = _unlike(answers)
    assert not unlike, f"{len(unlike)} of {len(CASES)}: {unlike[:5]}"


def test_every_elementwise_function_has_its_name():
    expected = {
        name for name, each in CATALOGUE.items() if each.arguments and not each.answers_whole
    }
    assert {function.name for function in FUNCTIONS} == expected


@pytest.mark.parametrize("name", NAMES)
def test_a_definition_is_short_enough_and_takes_the_arguments_in_order(name):
    definition = NAMES[name]
    assert len(definition.stored) <= names.LONGEST
    assert not set("\x01\x02\x03") & set(definition.stored + definition.shown)
    if name in CATALOGUE:
        heads = re.match(r"LAMBDA\(((?:\[?\w+\]?,)+)", definition.shown)[1].rstrip(",").split(",")
        wanted = [
            f"[{argument.name}]" if argument.optional else argument.name
            for argument in CATALOGUE[name].arguments
        ]
        # A parameter that would hide a function of the same name ends in _.
        assert [head.replace("_]", "]").rstrip("_") for head in heads] == wanted


def test_the_file_is_the_same_every_time_and_calls_dynamically():
    content = names_file.to_bytes()
    assert content == names_file.to_bytes()
    with zipfile.ZipFile(io.BytesIO(content)) as parts:
        assert "xl/metadata.xml" in parts.namelist()
        sheet = parts.read("xl/worksheets/sheet1.xml").decode()
    assert sheet.count('cm="1"') == len(FUNCTIONS)


@pytest.mark.parametrize("text", ["1e1", "1.234,5", "1/2", "12:30", "5%", "$5", "- 5"])
def test_a_text_that_is_no_plain_number_is_refused_and_never_misread(tmp_path, text):
    engine = pytest.importorskip("ironcalc")
    book = xlsxwriter.Workbook(tmp_path / "names.xlsx")
    sheet = book.add_worksheet()
    for name in NAMES.values():
        book.define_name(name.name, "=" + name.stored)
    sheet.write_string(0, 1, text)
    sheet.write_dynamic_array_formula(0, 0, 0, 0, "=WORT_SG(B1)", None, 0)
    book.close()
    model = engine.load_from_xlsx(str(tmp_path / "names.xlsx"), "en", "UTC", "en")
    model.evaluate()
    assert model.get_cell_value(0, 1, 1) == f'! brix "{text}" is not a number'

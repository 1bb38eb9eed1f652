import re
import subprocess
import sys

import pytest

from tests.plain import sheets
from xlfuncs.cells.catalogue import CATALOGUE
from xlfuncs.hosts import embedded
from xlfuncs.plain import FROM_CELL, Helpers, formula, measured
from xlfuncs.plain.measured import alike

#: What every spreadsheet program that was tried knows.
KNOWN = {
    "IF", "AND", "OR", "NOT", "ISNUMBER", "ISTEXT", "ISLOGICAL", "IFERROR", "ABS", "SQRT", "LN",
    "LOG10", "EXP", "MIN", "MAX", "INT", "ROUND", "LEFT", "RIGHT", "MID", "LEN", "TRIM", "FIND",
    "SUBSTITUTE", "VALUE",
}  # fmt: skip


def _all_from_cells(name):
    return formula(name, {each.name: FROM_CELL for each in CATALOGUE[name].arguments})


@pytest.mark.parametrize("name", [*measured.BOUNDS, "KETTLE_OPTIONS"])
def test_templates_are_short_and_use_what_all_programs_know(name):
    plain = _all_from_cells(name)
    for template in plain.templates:
        assert len(template) < 1500
        bare = re.sub(r'"[^"]*"', "", template)
        assert set(re.findall(r"[A-Z][A-Z0-9]*(?=\()", bare)) <= KNOWN
        depths = [bare[:place].count("(") - bare[:place].count(")") for place in range(len(bare))]
        assert max(depths) <= 64
        assert not re.search(r"[\x00-\x1f;\[]|NAN|INF", bare)


@pytest.mark.parametrize("name", ["BEER_SG", "HYDROMETER_SG"])
def test_a_helper_uses_only_those_before_it(name):
    plain = _all_from_cells(name)
    seen = {each.name for each in CATALOGUE[name].arguments}
    for key, template in plain.helpers:
        assert set(re.findall(r"\{(\w+)\}", template)) <= seen
        seen.add(key)


def test_what_is_wrong_with_a_call_is_named():
    with pytest.raises(ValueError, match="has no argument brics"):
        formula("WORT_SG", {"brics": 1.0})


def test_functions_of_one_row_share_their_helpers():
    helpers = Helpers(lambda number: f"$A${number + 1}")
    helpers.call("BEER_ABV", original_sg="B1", beer_sg="C1")
    alone = len(helpers.formulas)
    helpers.call("BEER_ABW", original_sg="B1", beer_sg="C1")
    assert len(helpers.formulas) < 1.2 * alone


def test_a_cell_with_a_formula_of_ours_is_read_in_fewer_cells():
    assert len(formula("WORT_SG", computed=frozenset(["brix"])).helpers) < 4
    assert len(formula("WORT_SG").helpers) > 4


@pytest.mark.parametrize("name", ["WORT_SG", "CALIBRATION_STATUS"])
def test_the_embedded_engine_answers_as_the_function(tmp_path, name):
    cases = sheets.calls(name, good=6)[: 6 + 2 * len(sheets.TYPED)]
    places = sheets.write(tmp_path / "plain.xlsx", name, cases)
    calculation = embedded.calculate(tmp_path / "plain.xlsx")
    assert not calculation.failures
    values = {address: value for (_, address), value in calculation.values.items()}
    sheets.check(name, cases, [values.get(place) for place in places])
    assert not any(str(value).startswith("#") for value in values.values())


def test_a_decimal_comma_changes_no_answer():
    """Numbers in messages have a point: a program's own comma is taken out of them."""
    plain = formula("WORT_SG")
    numbers = [template for template in plain.templates if "is outside" in template]
    assert numbers
    assert all("SUBSTITUTE(ROUND(" in one or "{_" in one for one in numbers)
    assert alike("! brix 140 is outside -1 to 45", CATALOGUE["WORT_SG"].callable()(140))


def test_a_formula_does_not_hang_on_what_was_recorded_before():
    """The same bytes whichever function a process asks for first."""
    code = "from xlfuncs.plain import formula; {}print(formula('WORT_SG_UNCERTAINTY').templates)"
    first, second = (
        subprocess.run(
            [sys.executable, "-c", code.format(before)], capture_output=True, check=True, text=True
        ).stdout
        for before in ("", "formula('VOLUME_AT'); formula('BEER_ABV'); ")
    )
    assert first == second

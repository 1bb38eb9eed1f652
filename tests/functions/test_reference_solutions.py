import pytest

from xlfuncs.functions.calibration import MALT_EXTRACT_STANDARD, SUCROSE_STANDARD


def test_sucrose_rows():
    rows = SUCROSE_STANDARD([[1.05], [None], [1.0], [1.3]], 1000)
    assert rows[0] == pytest.approx([123.9, 876.1], abs=0.1)
    assert rows[1:3] == [["", ""], [0, 1000]]
    assert rows[3][0] == rows[3][1]
    assert rows[3][0].startswith("! target_sg 1.3 is outside 1 to 1.206")


def test_the_mass_of_the_solution_is_one_cell():
    assert SUCROSE_STANDARD([1.05, 1.04], 0) == [["! solution_mass 0 is not above 0"] * 2] * 2


def test_malt_extract_takes_more_than_sugar_and_less_than_syrup():
    [[dry, _]], [[sugar, u]] = (MALT_EXTRACT_STANDARD(1.05, 2, f) for f in (0.95, 1))
    assert sugar < dry
    assert sugar / (sugar + 2 * 998.203) == pytest.approx(0.1238, abs=1e-4)
    assert 0.0004 < u < 0.0006


def test_malt_extract_too_weak():
    weak = MALT_EXTRACT_STANDARD([[1.05], [1.1]], 1, 0.2)
    assert (
        weak[1]
        == ["! target_sg 1.100 is out of reach of extract_fraction 0.2, which by itself has 1.083"]
        * 2
    )
    assert weak[0][0] > 0

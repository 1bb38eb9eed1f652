"""Every published table says where it comes from."""

import pytest

from tests.published import HOW, TABLES, Table

NAMES = sorted(path.stem for path in TABLES.glob("*.csv"))


@pytest.mark.parametrize("name", NAMES)
def test_each_row_names_its_source_and_how_it_is_known(name):
    table = Table(name)
    assert table.rows
    assert set(table["how"]) <= HOW
    assert all(row["source"].strip() for row in table.rows)


def test_a_residual_over_its_tolerance_fails():
    table = Table("water_index")
    with pytest.raises(AssertionError, match=r"worst residual 3e-06 .*'temperature': '10'"):
        table.hold([3e-6] + [0] * (len(table.rows) - 1))
    with pytest.raises(AssertionError, match="worst residual nan"):
        table.hold([float("nan")] + [0] * (len(table.rows) - 1))

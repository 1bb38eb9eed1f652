"""What binds to what, told by the trees."""

import pytest

from xlfuncs.hosts.embedded.grammar import (
    Call,
    CannotCompute,
    Cells,
    Constant,
    Missing,
    Name,
    Operation,
    TablePart,
    Unreadable,
    parsed,
)
from xlfuncs.hosts.embedded.values import ERRORS

A1, B2 = Cells("", 1, 1, 1, 1), Cells("", 2, 2, 2, 2)
ONE, TWO, THREE = (Constant(float(number)) for number in (1, 2, 3))


@pytest.mark.parametrize(
    ("text", "tree"),
    [
        ("=1-2-3", Operation("-", (Operation("-", (ONE, TWO)), THREE))),
        ("=1+2*3", Operation("+", (ONE, Operation("*", (TWO, THREE))))),
        ("=-1^2", Operation("^", (Operation("U-", (ONE,)), TWO))),
        ("=1^-2%", Operation("^", (ONE, Operation("U-", (Operation("%", (TWO,)),))))),
        ("=1&2=3", Operation("=", (Operation("&", (ONE, TWO)), THREE))),
        ("=(1+2)*3", Operation("*", (Operation("+", (ONE, TWO)), THREE))),
        ("= --A1 ", Operation("U-", (Operation("U-", (A1,)),))),
        ("=12.5E-3+.5E+1", Operation("+", (Constant(0.0125), Constant(5.0)))),
        ('="a ""b"""', Constant('a "b"')),
        ("=true", Constant(True)),
        ("=IF(A1,,2)", Call("IF", (A1, Missing(), TWO))),
        ("=NA()", Call("NA", ())),
        ("={1,2;3,-1}", Call("{}", (Call("{}", (ONE, TWO)),
                                    Call("{}", (THREE, Operation("U-", (ONE,))))))),
        ("=B2:$A$1", Cells("", 1, 1, 2, 2)),
        ("='It''s'!A1", Cells("It's", 1, 1, 1, 1)),
        ("=Log!B2:A1:A3", Cells("Log", 1, 1, 3, 2)),
        ("=B:A", Cells("", 1, 1, 1048576, 2)),
        ("=2:1", Cells("", 1, 1, 2, 16384)),
        ("=XFE1", Name("", "XFE1")),
        ("=Log!Limit", Name("Log", "Limit")),
        ("=all.volume", Name("", "all.volume")),
        ("=nan", Name("", "nan")),
        ("=Log!#REF!", Constant(ERRORS["#REF!"])),
        ("=F((A1,IF(1,2)))", Call("F", (Operation(",", (A1, Call("IF", (ONE, TWO)))),))),
        ("=Logs[[#This Row],[x]]", TablePart("Logs", "[#This Row],[x]")),
        ("=SUM((A1,B2))", Call("SUM", (Operation(",", (A1, B2)),))),
        ("=A1:B2 B2", Operation(" ", (Cells("", 1, 1, 2, 2), B2))),
        ("=A1 & B2 %", Operation("&", (A1, Operation("%", (B2,))))),
    ],
)  # fmt: skip
def test_a_formula_is_read_as_a_spreadsheet_reads_it(text, tree):
    assert parsed(text) == tree


@pytest.mark.parametrize(
    "text",
    ["=", "=1+", "=(1", "=1)", "=IF(1,2", "={1,2", '="a', "=*1", "=F(1;2)", "=a b c+", "=A1#REF!"],
)
def test_what_is_no_formula_is_refused(text):
    with pytest.raises(Unreadable):
        parsed(text)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("=A1#+1", "spilled range"),
        ("=@A1", "operator @"),
        ("=SUM(@INDEX(A1,1))", "operator @"),
        ("=INDEX(A1,1):B2", "up to what a function gives"),
        ("='[Old.xlsx]Log'!A1", "another workbook"),
    ],
)
def test_what_is_not_supported_is_named(text, reason):
    with pytest.raises(CannotCompute, match=reason):
        parsed(text)

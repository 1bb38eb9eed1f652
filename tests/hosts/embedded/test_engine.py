"""Workbooks made here, computed by the embedded engine; expected values worked out by hand."""

import datetime
import re

import openpyxl
import pytest
from openpyxl.utils import get_column_letter
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.formula import ArrayFormula, DataTableFormula
from openpyxl.worksheet.table import Table

from tests.helpers import rewrite
from xlfuncs.cells.values import date_serial
from xlfuncs.functions.instruments import REFRACTOMETER_BRIX, WORT_SG
from xlfuncs.hosts.embedded import calculate, calculate_file

TODAY = datetime.date(2026, 3, 20)

ROWS = [
    ("id", "x", "name", "day", "flag"),
    (1, 10.5, "abc", datetime.date(2026, 3, 14), True),
    (2, 12, "Abd", datetime.date(2026, 3, 15), False),
    (3, None, None, None, None),
    (4, "12.4", "b*d", datetime.date(2026, 4, 1), None),
    (5, -3, "! bad", None, True),
]


@pytest.fixture
def book():
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Log"
    for row in ROWS:
        sheet.append(row)
    other = book.create_sheet("My data")
    other["A1"], other["A2"] = 7, "=A1*2"
    names = {"Limit": "Log!$B$2", "Numbers": "Log!$A$2:$A$6", "Twice": "2*Log!$B$2"}
    for name, text in names.items():
        book.defined_names[name] = DefinedName(name, attr_text=text)
    return book


@pytest.fixture
def compute(book, tmp_path):
    """Computes the book, after putting formulas into cells of its first sheet."""

    def computed(**cells):
        for address, formula in cells.items():
            book["Log"][address] = formula
        path = tmp_path / "log.xlsx"
        book.save(path)
        return calculate(path, today=TODAY)

    return computed


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        # operators, blanks, texts
        ("=B2*2+1", 22),
        ("=-B2^2", 110.25),
        ("=50%", 0.5),
        ("=B4", 0),
        ('=B4=""', True),
        ("=B4=0", True),
        ('=C4&"z"', "z"),
        ('="abc"="ABC"', True),
        ('="x"+1', "#VALUE!"),
        ('=B5*1', 12.4),
        ('=1/3&""', "0.333333333333333"),
        ('=0.1+0.2&" L"', "0.3 L"),
        ('=100000000000000000000&""', "100000000000000000000"),
        ("=TRUE+1", 2),
        # numbers count to 15 digits
        ("=0.1+0.2=0.3", True),
        ("=0.1+0.2-0.3=0", True),
        ("=0.1+0.2>0.3", False),
        ("=ROUND(1.005,2)", 1.01),
        ("=MATCH(0.3,{0.2;0.3},0)*(0.1+0.2=0.3)", 2),
        ('=TEXT(1.0485,"0.000")', "1.049"),
        ("=(0.1+0.2-0.3)*1E20", 0),
        # days
        ('=DATEDIF(D2,D5,"d")', 18),
        ('=DATEDIF(D2,D5,"m")', 0),
        # choices and errors
        ('=IF(B4="","blank",B4)', "blank"),
        ("=IF(FALSE,1)", False),
        ("=IF(1,,5)", 0),
        ('=IF("x",1,2)', "#VALUE!"),
        ('=IFERROR(1/0,"")', ""),
        ("=IFERROR(B2,0)", 10.5),
        ("=1/0", "#DIV/0!"),
        ("=NA()", "#N/A"),
        ("=_xlfn.IFNA(NA(),3)", 3),
        ("=ISNUMBER(B2)", True),
        ("=ISNUMBER(B5)", False),
        ("=ISNUMBER(B4)", False),
        ("=ISNUMBER(NA())", False),
        ("=ISBLANK(B4)", True),
        ("=ISTEXT(C2)", True),
        ("=AND(ISNUMBER(B2),B2>1)", True),
        ('=OR(B2="",B4="")', True),
        ("=NOT(B4)", True),
        ('=_xlfn.IFS(B2>100,"a",B2>1,"b")', "b"),
        # whole ranges: texts and truth values in them do not count
        ("=SUM(B2:B6)", 19.5),
        ('=SUM(B2:B6,3,"4")', 26.5),
        ("=MAX(B2:B6)", 12),
        ("=MIN(B2:B6)", -3),
        ("=AVERAGE(B2:B6)", 6.5),
        ("=AVERAGE(C2:C3)", "#DIV/0!"),
        ("=COUNT(B2:B6)", 3),
        ("=COUNTA(B2:B6)", 4),
        ("=COUNTBLANK(B2:B6)", 1),
        ("=MEDIAN(B2:B6)", 10.5),
        ("=SUM(E2:E6)", 0),
        ("=LARGE(B2:B6,2)", 10.5),
        ("=SMALL(A2:A6,9)", "#NUM!"),
        ("=SMALL(A2:A6,ROW()-8)", 2),
        # criteria
        ('=COUNTIF(B2:B6,">8")', 2),
        ('=COUNTIF(C2:C6,"a*")', 2),
        ('=COUNTIF(C2:C6,"?b?")', 2),
        ('=COUNTIF(C2:C6,"b~*d")', 1),
        ('=COUNTIF(C2:C6,"! *")', 1),
        ('=COUNTIF(C2:C6,"")', 1),
        ('=COUNTIF(C2:C6,"<>")', 4),
        ('=COUNTIF(C2:C6,"<>abc")', 4),
        ("=COUNTIF(B2:B6,12.4)", 1),
        ('=COUNTIFS(A2:A6,">1",A2:A6,"<="&4)', 3),
        ('=COUNTIFS(D2:D6,">="&DATE(2026,3,15))', 2),
        ('=SUMIF(A2:A6,">3",B2:B6)', -3),
        ('=SUMIFS(B2:B6,A2:A6,">1",C2:C6,"a*")', 12),
        ('=AVERAGEIF(A2:A6,">9",B2:B6)', "#DIV/0!"),
        ('=_xlfn.MAXIFS(B2:B6,A2:A6,"<3")', 12),
        # sums of products
        ("=SUMPRODUCT(A2:A6,B2:B6)", 19.5),
        ("=SUMPRODUCT(--(A2:A6>2))", 3),
        ("=SUMPRODUCT((A2:A6>2)*A2:A6)", 12),
        ("=SUMPRODUCT(MAX((A2:A6<4)*(A2:A6)))", 3),
        ("=SUMPRODUCT(--ISNUMBER(B2:B6))", 3),
        ('=SUMPRODUCT(--(LEFT(C2:C6,2)="! "))', 1),
        # look-ups
        ("=INDEX(B2:B6,MATCH(2,A2:A6,0))", 12),
        ("=INDEX(A2:C6,2,3)", "Abd"),
        ("=SUM(INDEX(A2:B6,0,1))", 15),
        ("=INDEX(A2:A6,9)", "#REF!"),
        ('=INDEX(A2:E2,MATCH("name",A1:E1,0))', "abc"),
        ("=MATCH(2.5,A2:A6)", 2),
        ('=MATCH("ABD",C2:C6,0)', 2),
        ('=MATCH("zz",C2:C6,0)', "#N/A"),
        ("=VLOOKUP(4,A2:C6,3,FALSE)", "b*d"),
        ("=LOOKUP(4.2,A2:A6,A2:A6)", 4),
        ("=LOOKUP(2,1/(A2:A6<4),A2:A6)", 3),
        ("=LOOKUP(0.5,A2:A6)", "#N/A"),
        ("=LOOKUP(1/0,A2:A6)", "#DIV/0!"),
        ("=LOOKUP(9,A2:A6,A2:A4)", "#N/A"),
        ('=LOOKUP("B",C2:C6,A2:A6)', 2),
        ("=MATCH(4,A2:A6,1)", 4),
        ("=MATCH(TRUE,E2:E6,0)", 1),
        ("=MATCH(1,E2:E6,0)", "#N/A"),
        ('=MATCH("*bad",C2:C6,0)', 5),
        ("=MATCH(2,{3,2,1},-1)", 2),
        # numbers, texts, dates
        ("=ROUND(2.675,2)", 2.68),
        ("=ROUND(-2.5,0)", -3),
        ("=MOD(-3,2)", 1),
        ("=INT(-1.5)", -2),
        ("=QUOTIENT(7,2)", 3),
        ("=SQRT(-1)", "#NUM!"),
        ('=TEXT(1.0484,"0.000")', "1.048"),
        ('=TEXT(D2,"yyyy-mm-dd")', "2026-03-14"),
        ('=TEXT(0.256,"0.0%")', "25.6%"),
        ('=TEXT(1234.5,"#,##0.0")', "1,234.5"),
        ('=TEXT(1.05,"+0.000;-0.000")', "+1.050"),
        ('=TEXT(-1.05,"+0.000;-0.000")', "-1.050"),
        ('=TEXT(0,"0.0;-0.0;""no; none""")', "no; none"),
        ('=TEXT("abc","0.0")', "abc"),
        ('=TRIM("  a   b ")', "a b"),
        ("=LEN(B4)", 0),
        ('=_xlfn.TEXTJOIN(", ",TRUE,C2:C6)', "abc, Abd, b*d, ! bad"),
        ('=HYPERLINK("#A1","go")', "go"),
        ("=DATE(2026,14,1)", 46419),
        ("=D3-D2", 1),
        ("=TODAY()-D2", 6),
        ("=NOW()-TODAY()", 0),
        ("=YEAR(TODAY())", 2026),
        # where things are
        ("=ROW()", 10),
        ("=ROWS(A2:A6)", 5),
        ("='My data'!A2+1", 15),
        ("=SUM('My data'!A1:A2)", 21),
        ("=Limit+1", 11.5),
        ("=SUM(Numbers)", 15),
        ("=INDEX(numbers,2)", 2),
        ("=Twice", 21),
        ("=SUM(A:A)", 15),
        ("=SUM({1,2;3,4})", 10),
    ],
)  # fmt: skip
def test_plain_formula(compute, formula, expected):
    calculation = compute(G10=formula)
    assert calculation.failures == []
    assert calculation.values["Log", "G10"] == pytest.approx(expected, abs=1e-12)
    assert type(calculation.values["Log", "G10"]) is type(
        float(expected) if type(expected) is int else expected
    )


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        ("=A{row}+$A$2", [2, 3, 4, 5]),
        ("=A$2*10+SUM($A{row}:A{below})", [13, 15, 17, 19]),
        ("=IF(A{row}>1,G{above},0)+A{row}", [1, 3, 6, 10]),
        ('="A{row}, ""A{row}""; "&Log!A{row}', [f'A{r}, "A{r}"; {r - 1}' for r in (2, 3, 4, 5)]),
        ("='My data'!A$1+a{row}", [8, 9, 10, 11]),
        ("=SUM({row}:{row})-SUM($B{row}:$F{row})-G{row}*0", None),
        ("=SUM(A1048570:A1048576)+A{row}", [1, 2, 3, 4]),
        ("=ROW()+LOG10(10^A{row})", [3, 5, 7, 9]),
        ("=SUM(A:A)-A{row}", [14, 13, 12, 11]),
        ("=SUM(2:3)*0+A{row}", None),
        ("=SUM(Numbers)+A{row}", [16, 17, 18, 19]),
    ],
)
def test_formulas_filled_down(compute, formula, expected):
    calculation = compute(
        **{f"G{row}": formula.format(row=row, above=row - 1, below=row + 1) for row in range(2, 6)}
    )
    if expected is None:  # rows that hold the formula itself
        assert "circular reference" in calculation.failures[0][2]
        return
    assert calculation.failures == []
    assert [calculation.values["Log", f"G{row}"] for row in range(2, 6)] == expected


N = "#N/A"


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        ("=B2:B6", [10.5, 12, 0, "12.4", -3]),
        ("=A2:A6*2", [2, 4, 6, 8, 10]),
        ('=IF(A2:A6="","",B2:B6*2)', [21, 24, 0, 24.8, -6]),
        ('=IF(B2:B6="","",A2:A6*2)', [2, 4, "", 8, 10]),
        ('=IFERROR(1/(A2:A6-2),"none")', [-1, "none", 1, 0.5, 1 / 3]),
        ('=IF(ISNUMBER(B2:B6),B2:B6,"")', [10.5, 12, "", "", -3]),
        ('=IF((A2:A6>1)*(A2:A6<4)+(A2:A6=5)>0,"y","n")', ["n", "y", "y", "n", "y"]),
        ('=IF(LEFT(C2:C6,2)="! ","bad","")', ["", "", "", "", "bad"]),
        ("=INDEX(B2:B6,MATCH(A2:A6,A2:A6,0))", [10.5, 12, 0, "12.4", -3]),
        ("=MATCH(A2:A6,A3:A6,0)", [N, 1, 2, 3, 4]),
        ("=ISNUMBER(MATCH(A2:A6,{2;4},0))", [False, True, False, True, False]),
        ("=LOOKUP(A2:A6+0.5,A2:A6,C2:C6)", ["abc", "Abd", 0, "b*d", "! bad"]),
        ("=VLOOKUP(A2:A6,A2:C6,3,FALSE)", ["abc", "Abd", 0, "b*d", "! bad"]),
        ('=COUNTIF(A2:A6,"<="&A2:A6)', [1, 2, 3, 4, 5]),
        ('=COUNTIFS(A2:A6,"<="&A2:A6,C2:C6,"a*")', [1, 2, 2, 2, 2]),
        ("=SUMIF(A2:A6,A2:A6,B2:B6)", [10.5, 12, 0, 0, -3]),
        ("=COUNTIF(E2:E6,IF(A2:A6=1,1,TRUE))", [0, 2, 2, 2, 2]),
        ("=COUNTIF(B2:B6,B2:B6)", [1, 1, 0, 1, 1]),
        ("=SMALL(A2:A6,ROW(A2:A6)-ROW(A2)+1)", [1, 2, 3, 4, 5]),
        ('=IFERROR(SMALL(IF(A2:A6>2,A2:A6),ROW(A1:A5)),"")', [3, 4, 5, "", ""]),
        ("=TEXT(A2:A6,\"0.0\")", ["1.0", "2.0", "3.0", "4.0", "5.0"]),
        ('=C2:C6&"-"&A2:A6', ["abc-1", "Abd-2", "-3", "b*d-4", "! bad-5"]),
        ("=ROUND(A2:A6/3,2)", [0.33, 0.67, 1, 1.33, 1.67]),
        ("=AND(A2:A6>2)", [False] * 5),
        ("=OR(A2:A6>4)", [True] * 5),
        ("=SUM(A2:A6*2)", [30] * 5),
        ('=MAX(IF(C2:C6="abc",A2:A6))', [1] * 5),
        ('=IF(D2:D6="","",TODAY()-D2:D6)', [6, 5, "", -12, ""]),
        ("=DATE(2026,A2:A6,1)", [46023, 46054, 46082, 46113, 46143]),
        ("=IF(A2:A6>3,NA(),A2:A6)", [1, 2, 3, N, N]),
        ("=A2:A6*Limit", [10.5, 21, 31.5, 42, 52.5]),
        ("=N(B2:B6)", [10.5, 12, 0, 0, -3]),
        ("=INDEX(A2:B6,0,1)", [1, 2, 3, 4, 5]),
        ("=A2:A4*2", [2, 4, 6, N, N]),
        ("=5", [5] * 5),
        ("=TRANSPOSE(A2:A6)", [1] * 5),
        ("=B2:B6<>\"\"", [True, True, False, True, True]),
    ],
)  # fmt: skip
def test_array_formula(compute, formula, expected):
    calculation = compute(G2=ArrayFormula("G2:G6", formula))
    assert calculation.failures == []
    got = [calculation.values["Log", f"G{row}"] for row in range(2, 7)]
    assert [
        value if isinstance(value, (str, bool)) else pytest.approx(value) for value in expected
    ] == got
    assert [type(value) for value in got if isinstance(value, bool)] == [
        bool for value in expected if isinstance(value, bool)
    ]


def test_what_overflows_is_told_in_its_cell_and_nowhere_else(compute, recwarn):
    """numpy warned on the terminal."""
    calculation = compute(B2=1e300, G2=ArrayFormula("G2:G6", "=IFERROR(B2:B6*B2:B6^2,-1)"))
    assert [calculation.values["Log", f"G{row}"] for row in (2, 3)] == [-1, pytest.approx(12**3)]
    assert not [one for one in recwarn if one.category is RuntimeWarning]


def test_array_formula_over_rows_and_columns(compute):
    calculation = compute(
        G2=ArrayFormula("G2:I3", "=A2:B3"), G5=ArrayFormula("G5:H6", "=TRANSPOSE(A2:A3)")
    )
    cells = {address: value for (_, address), value in calculation.values.items()}
    assert [cells[f"{column}3"] for column in "GHI"] == [2, 12, "#N/A"]
    assert [cells[a] for a in ("G5", "H5", "G6", "H6")] == [1, 2, 1, 2]


def test_plain_formula_takes_the_cell_of_its_own_row(compute):
    calculation = compute(
        G3="=A2:A6*2", G9="=A2:A6*2", G4="=IF(A:A>2,A:A)", G5="=SUM(A2:A6)+A2:A6", B9="=A2:E2"
    )
    cells = {address: value for (_, address), value in calculation.values.items()}
    assert (cells["G3"], cells["G9"], cells["G4"], cells["G5"]) == (4, "#VALUE!", 3, 19)
    assert cells["B9"] == 10.5


def test_members_of_an_array_formula_can_be_referred_to_before_it(compute, book):
    book["Log"]["G4"] = 999  # a stored value of the last calculation, not an input
    calculation = compute(F1="=G3+1", F2="=SUM(G2:G6)", G2=ArrayFormula("G2:G6", "=A2:A6*10"))
    assert calculation.values["Log", "F1"] == 21
    assert calculation.values["Log", "F2"] == 150


def test_cell_functions(compute, book):
    log = book["Log"]
    for row, raw in enumerate([12.0, None, "abc", 140, "! bad", "12,4", "=NA()"], start=2):
        log.cell(row, 8).value = raw
    calculation = compute(
        I2=ArrayFormula("I2:I8", "=WORT_SG(H2:H8)"),
        J2="=WORT_SG(H2)",
        J3="=WORT_SG(H3)",
        J4="=WORT_SG(H2,H3)",
        J5="=WORT_SG(H2,)",
        J6="=REFRACTOMETER_BRIX(H2,,0.1)",
        J7='=IFERROR(WORT_SG(H8),"error")',
        J8="=ISNUMBER(WORT_SG(H2))",
        J9='=IF(WORT_SG(H3)="","blank","filled")',
        K2=ArrayFormula("K2:P2", "=CALIBRATION_FIT({0;5;10},{0;5;10})"),
    )
    cells = {address: value for (_, address), value in calculation.values.items()}
    assert calculation.failures == []
    column = [cells[f"I{row}"] for row in range(2, 9)]
    assert column == [
        WORT_SG(12.0), "", WORT_SG("abc"), WORT_SG(140), "! bad", WORT_SG(12.4), "#N/A",
    ]  # fmt: skip
    assert column[2].startswith("! ")
    assert [cells[f"J{row}"] for row in range(2, 6)] == [column[0], "", column[0], column[0]]
    assert cells["J6"] == REFRACTOMETER_BRIX(12.0, None, 0.1)
    assert (cells["J7"], cells["J8"], cells["J9"]) == ("error", True, "blank")
    assert cells["K2"] == pytest.approx(0, abs=1e-9)
    assert cells["L2"] == pytest.approx(1)
    assert calculation.calls == {"WORT_SG": 8, "REFRACTOMETER_BRIX": 1, "CALIBRATION_FIT": 1}


def test_only_the_wanted_branch_is_called(compute):
    calculation = compute(
        **{f"G{row}": f'=IF(B{row}="","",WORT_SG(A{row}))' for row in range(2, 7)}
    )
    assert calculation.calls == {"WORT_SG": 4}
    assert calculation.values["Log", "G4"] == ""


@pytest.mark.parametrize(
    ("formula", "reason"),
    [
        ("=NOSUCH(1)", "the function NOSUCH is not supported"),
        ("=OFFSET(A2,1,0)", "the function OFFSET is not supported"),
        ('=INDIRECT("A"&2)', "the function INDIRECT is not supported"),
        ("=Nowhere+1", "Nowhere is not a known name"),
        ("=Nowhere!A1", "there is no sheet Nowhere"),
        ("=[1]Log!A1", "it refers to another workbook"),
        ("=1+", "the formula cannot be read: =1+"),
        ("=Absent[x]", "there is no table Absent"),
        ("=A2:INDEX(A2:A6,2)", "a range up to what a function gives is not supported"),
        ("=A1#", "references to a spilled range (A1#) are not supported"),
        ("=G10+1", "circular reference: Log!G10"),
    ],
)
def test_what_cannot_be_computed_is_named_and_the_rest_is_computed(compute, formula, reason):
    calculation = compute(G10=formula, G11="=G10+1", G12="=SUM(A2:A6)")
    named = {address: text for sheet, address, text in calculation.failures if sheet == "Log"}
    assert named.keys() == {"G10", "G11"}
    assert named["G10"].casefold() == reason.casefold()
    assert "needs" in named["G11"]
    assert calculation.values["Log", "G12"] == 15
    assert ("Log", "G10") not in calculation.values


def test_circle_of_cells_is_told_from_what_hangs_on_it(compute):
    calculation = compute(G1="=G2+1", G2="=G3", G3="=G1", G4="=G1*2", G5="=A2")
    assert {address: text for _, address, text in calculation.failures} == {
        "G1": "circular reference: Log!G1, Log!G2, Log!G3",
        "G2": "circular reference: Log!G1, Log!G2, Log!G3",
        "G3": "circular reference: Log!G1, Log!G2, Log!G3",
        "G4": "needs a circular reference: Log!G1, Log!G2, Log!G3",
    }
    assert calculation.values["Log", "G5"] == 1


@pytest.mark.parametrize("formula", ["=A2:A6*B2:B4", "=A2:A6&B2:B4", "=INDEX(A2:B6,A2:A6,A2:A3)"])
def test_ranges_that_do_not_fit_together(compute, formula):
    calculation = compute(G2=ArrayFormula("G2:G6", formula))
    assert calculation.failures == [("Log", "G2", "ranges of different sizes do not fit together")]


def test_name_that_refers_to_itself(compute, book):
    book.defined_names["Loop"] = DefinedName("Loop", attr_text="LOOP+1")
    assert compute(G2="=Loop").failures == [("Log", "G2", "the name LOOP refers to itself")]


def test_name_of_one_sheet_comes_before_the_book_wide_one(compute, book):
    log = book["Log"]
    log.defined_names["Limit"] = DefinedName("Limit", attr_text="Log!$B$3")
    book["My data"]["B1"] = "=Limit"
    calculation = compute(G2="=Limit")
    assert calculation.values["Log", "G2"] == 12
    assert calculation.values["My data", "B1"] == 10.5


def test_data_table_is_named(compute):
    calculation = compute(G2=DataTableFormula("G2:G6", r1="A1"))
    assert calculation.failures[0][:2] == ("Log", "G2")
    assert "data tables" in calculation.failures[0][2]


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        ("=SUM(Brews[id])", 15),
        ("=SUM(Brews[[#All],[id]:[x]])", 34.5),
        ("=Brews[[#This Row],[id]]*2", 4),
        ("=Brews[@id]*2", 4),
        ("=Brews[[#Headers],[x]]", "x"),
        ("=ROWS(Brews[])", 5),
        ("=ROWS(Brews[#All])", 6),
        ("=COUNTA(brews[name])", 4),
    ],
)
def test_references_into_a_table(compute, book, formula, expected):
    book["Log"].add_table(Table(displayName="Brews", ref="A1:E6"))
    calculation = compute(G3=formula)
    assert calculation.failures == []
    assert calculation.values["Log", "G3"] == expected


def test_shared_formula(tmp_path, book):
    """Excel writes a filled-down formula once and lets the other cells share it."""
    log = book["Log"]
    log["G2"], log["G3"], log["G4"] = "=A2*2", "=0", "=0"
    path = tmp_path / "shared.xlsx"
    book.save(path)
    rewrite(
        path,
        "xl/worksheets/sheet1.xml",
        lambda text: (
            text.replace("<f>A2*2</f>", '<f t="shared" ref="G2:G4" si="0">A2*2</f>')
            .replace('<c r="G3"><f>0</f>', '<c r="G3"><f t="shared" si="0"/>')
            .replace('<c r="G4"><f>0</f>', '<c r="G4"><f t="shared" si="0"/>')
        ),
    )
    calculation = calculate(path)
    assert [calculation.values["Log", f"G{row}"] for row in (2, 3, 4)] == [2, 4, 6]


def test_without_a_date_today_is_today(tmp_path, book):
    book["Log"]["G2"] = "=TODAY()"
    path = tmp_path / "log.xlsx"
    book.save(path)
    before = date_serial(datetime.date.today())
    serial = calculate(path).values["Log", "G2"]
    assert before <= serial <= date_serial(datetime.date.today())


def test_calculate_file_keeps_the_old_value_of_what_failed(tmp_path, book):
    log = book["Log"]
    log["G2"], log["G3"] = "=A2*2", "=NOSUCH(1)"
    log["H2"] = ArrayFormula("H2:H6", "=WORT_SG(A2:A6)")
    path, out = tmp_path / "log.xlsx", tmp_path / "computed.xlsx"
    book.save(path)
    rewrite(
        path,
        "xl/worksheets/sheet1.xml",
        lambda text: re.sub(r"<f>NOSUCH\(1\)</f><v ?(/>|></v>)", "<f>NOSUCH(1)</f><v>42</v>", text),
    )
    calculation = calculate_file(path, out, today=TODAY)
    shown = openpyxl.load_workbook(out, data_only=True)["Log"]
    assert [failure[1] for failure in calculation.failures] == ["G3"]
    assert (shown["G2"].value, shown["G3"].value) == (2, 42)
    assert [shown[f"H{row}"].value for row in range(2, 7)] == [
        WORT_SG(float(n)) for n in range(1, 6)
    ]
    assert openpyxl.load_workbook(out)["Log"]["H2"].value.ref == "H2:H6"


def test_each_formula_is_computed_once(compute):
    """Long chains stay linear: every cell is called for once, whoever needs it."""
    cells = {
        f"{get_column_letter(8)}{row}": f"=WORT_SG(10)+SUM(H$1:H{row - 1})" for row in range(2, 120)
    }
    calculation = compute(H1="=WORT_SG(10)", **cells)
    assert calculation.calls == {"WORT_SG": 119}

"""Worksheet functions: the embedded engine and LibreOffice give the same, on good and bad cells.

The data hold numbers, nothing, numbers as text, truth values, errors, dates and texts with blanks,
because these are what a log in ordinary hands holds.
"""

import datetime
import re
from pathlib import Path

import openpyxl
import pytest
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.formula import ArrayFormula

from xlfuncs.functions import CATALOGUE
from xlfuncs.hosts import embedded
from xlfuncs.hosts.calc import runner

ROOT = Path(__file__).parents[3]

DATA = [
    # A: number, B: with gaps, C: text, D: date, E: anything, F: ascending
    (3, 10.5, "Pale ale", datetime.date(2026, 3, 14), True, 1.001),
    (1, 12, " pale  ALE ", datetime.date(2026, 1, 31), None, 1.01),
    (2, None, "stout", None, "12.4", 1.02),
    (5, -3.25, None, datetime.datetime(2024, 2, 29, 18, 45, 30), "! bad", 1.03),
    (4, 1.005, "a*b", datetime.date(2025, 12, 31), False, 1.04),
    (2, 0, "Stout", datetime.date(2026, 3, 1), 7, 1.05),
]

#: Of one cell each; {} is the row of the data that it stands beside.
PLAIN = """
=ROUND(1.005,2)                 =ROUND(2.675,2)                 =ROUND(-1.005,2)
=ROUND(1234.5,-2)               =ROUND(0.5,0)                   =ROUND(B2,1)
=ROUND(1.0485,3)                =ROUND(""&1.25,1)               =ROUND("x",1)
=ROUNDUP(1.001,2)               =ROUNDUP(-1.21,1)               =ROUNDDOWN(1.999,2)
=ROUNDDOWN(-1.29,1)             =TRUNC(-2.7)                    =TRUNC(8.96,1)
=INT(-2.5)                      =INT(0.3*10)                    =INT((0.1+0.7)*10)
=MOD(7,3)                       =MOD(-7,3)                      =MOD(7,-3)
=MOD(0.3,0.1)                   =MOD(5,0)                       =MOD(46095.75,1)
=QUOTIENT(-7,2)                 =CEILING(1.1,0.25)              =FLOOR(1.1,0.25)
=ABS(B5)                        =SIGN(B5)                       =SQRT(B5)
=SQRT(2)                        =EXP(1)                         =LN(10)
=LN(0)                          =LOG10(1000)                    =LOG(8,2)
=LOG(100)                       =POWER(2,0.5)                   =PI()
=ISEVEN(A3)                     =ISODD(A3)                      =2^-1
=-2^2                           =(-8)^(1/3)                     =50%*2
=0.1+0.2=0.3                    =0.1+0.2>0.3                    =0.1+0.2<=0.3
=0.1+0.2-0.3                    =1*(0.5-0.4-0.1)                =1.1-1-0.1
=(0.1+0.2-0.3)*1E20             =1.0000000000000002=1           =1.00000000000001=1
=0.3-0.1-0.2=0                  =IF(0.1*3=0.3,"same","other")   =1/3=0.333333333333333
="a"="A"                        ="a"<"B"                        ="a"<1
=TRUE>9                         =B4=0                           =B4=""
=B4<>""                         =E3=""                          =C5=""
=C5&"|"                         =B4&"|"                         =1/3&""
=0.1+0.2&""                     =1E21&""                        =1E-10&""
=123456789012345678&""          =-0.5&""                        =TRUE&""
=1.05*1000&""                   =100*1.1&""                     =2/3*3&""
=IF(A2>2,"yes","no")            =IF(B4,1,2)                     =IF(A2>2,"")
=IF(NA(),1,2)                   =IFERROR(1/0,"none")            =IFERROR(B4,"none")
=IFERROR(NA(),B4)               =IFNA(NA(),1)                   =IFNA(1/0,1)
=AND(TRUE,A2=3)                 =AND(A2:A7>0)                   =OR(FALSE,A2=9)
=OR(E2:E7)                      =XOR(TRUE,TRUE,TRUE)            =NOT(A2=3)
=NOT(0)                         =AND(A2,B4)                     =AND(B2:B7)
=ISNUMBER(E4)                   =ISNUMBER(D2)                   =ISTEXT(E4)
=ISTEXT(B4)                     =ISBLANK(B4)                    =ISBLANK("")
=ISERROR(1/0)                   =ISERR(NA())                    =ISNA(NA())
=ISLOGICAL(E2)                  =ISNONTEXT(B4)                  =N(E2)
=N("x")                         =T(C2)                          =T(5)
=SUM(A2:A7)                     =SUM(B2:B7)                     =SUM(E2:E7)
=SUM(A2:A7,B2,3)                =SUM(C2:C7)                     =SUM(A2:F7)
=PRODUCT(A2:A7)                 =PRODUCT(B2:B3,2)               =SUMSQ(A2:A7)
=MAX(B2:B7)                     =MIN(B2:B7)                     =MAX(C2:C7)
=MIN(E2:E7)                     =AVERAGE(B2:B7)                 =AVERAGE(C2:C7)
=MEDIAN(A2:A7)                  =MEDIAN(B2:B7)                  =MODE(A2:A7)
=MODE(F2:F7)                    =STDEV(A2:A7)                   =STDEV(A2)
=STDEVP(A2:A7)                  =VAR(B2:B7)                     =VARP(B2:B7)
=STDEV.S(A2:A7)                 =STDEV.P(A2:A7)                 =AVEDEV(A2:A7)
=DEVSQ(A2:A7)                   =GEOMEAN(A2:A7)                 =COUNT(B2:B7)
=COUNT(E2:E7)                   =COUNTA(E2:E7)                  =COUNTBLANK(B2:B7)
=COUNT(A2,"3","x",TRUE)         =LARGE(B2:B7,1)                 =LARGE(A2:A7,7)
=SMALL(B2:B7,2)                 =SMALL(E2:E7,1)                 =SMALL(C2:C7,1)
=PERCENTILE(A2:A7,0.3)          =QUARTILE(A2:A7,1)              =RANK(2,A2:A7)
=RANK(2,A2:A7,1)                =RANK(9,A2:A7)                  =LARGE(A2:A7,A3)
=SUMPRODUCT(A2:A7,B2:B7)        =SUMPRODUCT(--(A2:A7>2))        =SUMPRODUCT((A2:A7>1)*(B2:B7<>""))
=SUMPRODUCT(A2:A7,A2:A7>2)      =SUMPRODUCT((C2:C7="stout")*A2:A7)
=SUMPRODUCT((LEFT(C2:C7,1)="p")*1)                              =SUMPRODUCT(--ISNUMBER(B2:B7))
=SUMPRODUCT(A2:A3,A2:A7)        =SUMPRODUCT(MAX((A2:A7<4)*A2:A7))
=SLOPE(A2:A7,F2:F7)             =INTERCEPT(A2:A7,F2:F7)         =SLOPE(B2:B7,F2:F7)
=CORREL(A2:A7,B2:B7)            =RSQ(A2:A7,F2:F7)               =SLOPE(A2,F2)
=FORECAST(1.06,A2:A7,F2:F7)     =STEYX(A2:A7,F2:F7)             =COUNTIF(A2:A7,">2")
=COUNTIF(A2:A7,2)               =COUNTIF(C2:C7,"stout")         =COUNTIF(C2:C7,"*ale*")
=COUNTIF(C2:C7,"a~*b")          =COUNTIF(B2:B7,"<>0")           =COUNTIF(B2:B7,0)
=COUNTIF(B2:B7,"")              =COUNTIF(C2:C7,"<>stout")       =COUNTIF(E2:E7,TRUE)
=COUNTIF(E2:E7,"12.4")          =COUNTIF(D2:D7,">="&DATE(2026,1,1))
=COUNTIF(F2:F7,"<="&1.02)       =COUNTIF(C2:C7,">b")
=COUNTIFS(A2:A7,">1",C2:C7,"stout")                             =COUNTIFS(A2:A7,">1",A2:A7,"<5")
=SUMIF(A2:A7,">2",B2:B7)        =SUMIF(C2:C7,"stout",A2:A7)     =SUMIF(A2:A7,">2")
=SUMIFS(A2:A7,C2:C7,"stout")    =SUMIFS(A2:A7,A2:A7,">1",B2:B7,">0")
=AVERAGEIF(A2:A7,">2",B2:B7)    =AVERAGEIFS(A2:A7,C2:C7,"none")
=AVERAGEIFS(A2:A7,C2:C7,"stout")                                =_xlfn.MAXIFS(A2:A7,C2:C7,"stout")
=_xlfn.MINIFS(A2:A7,A2:A7,">9")                                 =LOOKUP(1.025,F2:F7)
=LOOKUP(1.025,F2:F7,C2:C7)      =LOOKUP(0.5,F2:F7,A2:A7)        =LOOKUP(9,F2:F7,B2:B7)
=LOOKUP(2,1/(A2:A7=2),B2:B7)    =LOOKUP(2,1/(C2:C7="stout"),A2:A7)
=LOOKUP(2,1/(A2:A7=9),A2:A7)    =LOOKUP(2,1/(B2:B7<>""),F2:F7)
=LOOKUP(2,1/((A2:A7=2)*(B2:B7<>"")),F2:F7)                      =MATCH(2,A2:A7,0)
=MATCH(9,A2:A7,0)               =MATCH("STOUT",C2:C7,0)         =MATCH("st*",C2:C7,0)
=MATCH(1.025,F2:F7,1)           =MATCH(1.025,F2:F7)             =MATCH(0.1+0.2,G2:G7,0)
=MATCH(0.9,F2:F7)               =MATCH(TRUE,E2:E7,0)            =INDEX(B2:B7,2)
=INDEX(B2:B7,3)                 =INDEX(A2:C7,2,3)               =INDEX(A2:A7,9)
=INDEX(A2:A7,MATCH("stout",C2:C7,0))                            =SUM(INDEX(A2:B7,0,1))
=SUM(INDEX(A2:C7,2,0))          =INDEX(A2:F2,3)                 =VLOOKUP(2,A2:C7,3,FALSE)
=VLOOKUP(9,A2:C7,3,FALSE)       =VLOOKUP(1.025,F2:G7,2)         =VLOOKUP(2,A2:C7,4,FALSE)
=HLOOKUP("x",A2:C7,2,FALSE)     =CHOOSE(2,"a","b","c")          =CHOOSE(4,"a","b","c")
=ROW()-ROW($A$2)                =ROW(A5)                        =ROWS(A2:A7)
=COLUMN(C2)                     =COLUMNS(A2:F2)                 =TRIM(C3)
=UPPER(C2)                      =LOWER(C2)                      =PROPER(C3)
=LEN(C3)                        =LEN(B2)                        =LEFT(C2,4)
=RIGHT(C2,3)                    =MID(C2,6,3)                    =LEFT(C2)
=LEFT(C2,99)                    =MID(C2,99,3)                   =LEFT(A2,1)
=LEFT(C2,-1)                    =FIND("a",C2)                   =FIND("z",C2)
=SEARCH("A",C2)                 =SEARCH("l?",C2)                =FIND("e",C2,5)
=SUBSTITUTE(C2,"a","o")         =SUBSTITUTE(C2,"a","o",2)       =REPLACE(C2,1,4,"Dark")
=REPT("ab",3)                   =EXACT("a","A")                 =CONCATENATE(A2,"-",B4,C2)
=CHAR(65)                       =CODE("A")                      =CLEAN("a"&CHAR(10)&"b")
=TRIM(UPPER(C3))=TRIM(UPPER(C2))                                =_xlfn.TEXTJOIN(", ",TRUE,C2:C7)
=_xlfn.CONCAT(A2:A4)            =VALUE("12.4")                  =VALUE("x")
=VALUE(" 3 ")                   =VALUE("12%")                   =VALUE("2026-03-14")
="12.4"*2                       ="x"*2                          =E4+1
=B4+1                           =E2+1                           =-E2
=--"3"                          =FIXED(1234.567,1)              =FIXED(1234.567,1,TRUE)
=FIXED(-0.05,1)                 =FIXED(1.0049,3)                =FIXED(12)
=FIXED(1.005,2)                 =TEXT(1.0485,"0.000")           =TEXT(1.005,"0.00")
=TEXT(12,"0")                   =TEXT(0.256,"0.0%")             =TEXT(1234.5,"#,##0.0")
=TEXT(5,"00")                   =TEXT(-3.2,"+0.0;-0.0")         =TEXT(3.2,"+0.0;-0.0")
=TEXT(0.5,"0.##")               =TEXT(D2,"yyyy-mm-dd")          =TEXT(D2,"dd.mm.yyyy")
=TEXT(D5,"hh:mm")               =TEXT(D5,"yyyy-mm-dd hh:mm:ss")
=TEXT(D2,"d mmm yyyy")          =TEXT(D2,"mmmm")                =TEXT(D2,"ddd")
=TEXT(D2,"dddd")                =TEXT("x","0.0")                =TEXT(D5,"h:mm")
=TEXT(D2,"yy")                  =TEXT(D2,"m/d/yyyy")            =DATE(2026,3,14)
=DATE(2026,14,1)                =DATE(2026,2,30)                =DATE(2026,3,0)
=DATE(2026,-1,5)                =YEAR(D2)                       =MONTH(D2)
=DAY(D2)                        =YEAR(D4)                       =HOUR(D5)
=MINUTE(D5)                     =SECOND(D5)                     =TIME(18,30,0)
=TIME(25,0,0)                   =WEEKDAY(D2)                    =WEEKDAY(D2,2)
=WEEKDAY(D2,3)                  =EDATE(D3,1)                    =EDATE(D3,-13)
=EOMONTH(D2,0)                  =EOMONTH(D2,-1)                 =DATEDIF(D3,D2,"d")
=DATEDIF(D3,D2,"m")             =DATEDIF(D5,D2,"y")             =DATEDIF(D5,D2,"ym")
=DATEDIF(D3,D2,"yd")            =DATEDIF(D2,D3,"d")             =DATEDIF(D2,D2,"d")
=DATEVALUE("2026-03-14")        =_xlfn.DAYS(D2,D3)              =D2-D3
=D2+1                           =D2>D3                          =INT(D5)
=HYPERLINK("#A1","go")          =HYPERLINK("#A1")               =NA()
=NA()+1                         =SUM(A2:A7,NA())                =1/0
=B2/B7                          =MAX(A2:A7,1/0)                 =A2:A7*2
=SUM(2:3)-SUM(H2:XFD3)          =SUM({1,2;3,4})                 =SUM(A2:A3:A4)
=SUM((A2:A3,A5))                =SUM(A2:C3 B2:D3)
=IF(ISERROR(MATCH(9,A2:A7,0)),"no","yes")                       =IF(COUNT(A2:B4)<6,"gap","full")
=IFERROR(INDEX(C2:C7,SMALL(IF(A2:A7=2,ROW(A2:A7)-1),1)),"")     =CONVERT(1,"gal","l")
=RADIANS(180)                   =NORMSDIST(1.96)                =NORMSINV(0.975)
=TINV(0.05,10)                  =TDIST(2,10,2)                  =CHIINV(0.05,3)
=T.INV.2T(0.05,7)               =WEEKNUM(D2)                    =NETWORKDAYS(D3,D2)
=GCD(12,18)
"""

#: Over the six rows of the data at once.
ARRAYS = """
=A2:A7*2                        =B2:B7&""                       =IF(B2:B7="","",B2:B7*2)
=IF(ISNUMBER(B2:B7),B2:B7,"none")                               =IFERROR(1/B2:B7,"")
=E2:E7=""                       =A2:A7=2                        =E2:E7*1
=ROUND(B2:B7,1)                 =COUNTIF(A2:A7,A2:A7)           =COUNTIF(A2:A7,"<"&A2:A7)
=SUMIF(A2:A7,A2:A7,B2:B7)       =SUMIFS(A2:A7,C2:C7,C2:C7)      =COUNTIFS(A2:A7,A2:A7,C2:C7,C2:C7)
=MATCH(A2:A7,A2:A7,0)           =INDEX(C2:C7,MATCH(A2:A7,A2:A7,0))
=LOOKUP(F2:F7+0.001,F2:F7,A2:A7)                                =VLOOKUP(A2:A7,A2:C7,2,FALSE)
=SMALL(A2:A7,ROW(A2:A7)-1)      =LARGE(B2:B7,ROW(A2:A7)-1)
=IFERROR(SMALL(IF(A2:A7>2,A2:A7),ROW(A2:A7)-1),"")              =TRIM(C2:C7)
=UPPER(C2:C7)                   =LEN(C2:C7)                     =LEFT(C2:C7,2)
=ISNUMBER(SEARCH("ale",C2:C7))  =SUBSTITUTE(C2:C7,"t","d")      =YEAR(D2:D7)
=TEXT(D5,"yyyy-mm")             =TEXT(A2:A7,"0.0")              =D2:D7-D3
=ISBLANK(D2:D7)                 =N(A2:A7)                       =MOD(A2:A7,2)
=INT(F2:F7*1000)                =A2:A7^2
=IF(A2:A7>2,IF(B2:B7>0,"both","a"),"none")
=IF((A2:A7>1)*(B2:B7<>"")>0,A2:A7,"")                           =SUM(A2:A7*B2:B7)
=MAX(IF(C2:C7="stout",A2:A7))   =AND(A2:A7>0)                   =TRANSPOSE({1,2,3,4,5,6})
=MMULT(A2:B3,A2:B3)             =CHOOSE(A2:A7,"a","b","c","d","e")
=A2:A7/(A2:A7-2)                =-(A2:A7)                       =A2:A7%
=ROW(A2:A7)                     =ROW()                          =FIXED(B2:B7,1)
=HOUR(D2:D7)                    =A2:A4*2                        =EXACT(C2:C7,TRIM(C2:C7))
"""

#: Where Calc answers otherwise than Excel, whose answer the engine's is: why, and the formulas.
OTHERWISE_IN_CALC = {
    "a truth value in a range is a number": [
        "=SUM(E2:E7)", "=SUM(A2:F7)", "=MIN(E2:E7)", "=COUNT(E2:E7)", '=COUNT(A2,"3","x",TRUE)',
        "=SMALL(E2:E7,1)", "=SUMPRODUCT(A2:A7,A2:A7>2)", "=SUM(2:3)-SUM(H2:XFD3)", "=TRUE>9",
        '=TRUE&""',
    ],
    "numbers as text in another notation": [
        '=1E21&""', '=1E-10&""', '=123456789012345678&""',
    ],
    "another error": ["=MODE(F2:F7)", "=VLOOKUP(2,A2:C7,4,FALSE)"],
    "a root of a number below 0": ["=(-8)^(1/3)"],
    "another rounding": ["=FIXED(1.005,2)"],
}  # fmt: skip
#: Where 7.4 gives another error, and 25.2 that of Excel; a quantile to ten digits or to all, as
#: scipy's version has it.
OTHERWISE_IN_SOME = {"=INDEX(A2:A7,9)", "=RANK(9,A2:A7)", "=TINV(0.05,10)"}


def _formulas(table):
    return [part.strip() for part in re.split(r"\s{2,}|\n", table) if part.strip()]


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """A workbook with every formula, and which formula stands where."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Log"
    sheet.append(["number", "gaps", "text", "date", "anything", "ascending", "tenths"])
    for i, row in enumerate(DATA, 1):
        sheet.append([*row, i / 10])
    where = {}
    for row, formula in enumerate(_formulas(PLAIN), 2):
        sheet.cell(row, 8, formula)
        where[f"H{row}"] = formula
    for column, formula in enumerate(_formulas(ARRAYS), 10):
        cells = [f"{get_column_letter(column)}{row}" for row in range(2, 8)]
        sheet[cells[0]] = ArrayFormula(f"{cells[0]}:{cells[-1]}", formula)
        where |= dict.fromkeys(cells, formula)
    path = tmp_path_factory.mktemp("functions") / "functions.xlsx"
    book.save(path)
    return path, where


@pytest.fixture(scope="module")
def ours(book):
    return embedded.calculate(book[0])


def _comparable(value):
    """A value without what Calc cannot tell apart: in arrays truth values are numbers, and #NUM!
    is #VALUE! with another number."""
    if isinstance(value, bool):
        return float(value)
    return "#VALUE!" if value == "#NUM!" else value


def _same(one, other):
    one, other = _comparable(one), _comparable(other)
    if isinstance(one, float) and isinstance(other, float):
        return one == pytest.approx(other, rel=1e-12, abs=1e-12)
    return one == other


def test_all_are_computed(ours, book):
    assert ours.failures == []
    assert {address for _, address in ours.values} == book[1].keys()
    assert len(set(book[1].values())) > 400


def test_every_function_of_the_sheets_is_compared(book):
    template = openpyxl.load_workbook(ROOT / "workbooks" / "brewday.xlsx")
    texts = [name.attr_text for name in template.defined_names.values()]
    for sheet in template.worksheets:
        for row in sheet.iter_rows():
            texts += [
                getattr(cell.value, "text", cell.value) for cell in row if cell.data_type == "f"
            ]
    used = _functions(texts) - CATALOGUE.keys()
    assert len(used) > 20
    assert used - {"TODAY"} <= _functions(book[1].values())


def _functions(texts):
    outside = (re.sub(r'"[^"]*"', "", text).upper() for text in texts)
    return {
        name.removeprefix("_XLFN.")
        for text in outside
        for name in re.findall(r"([A-Z][A-Z0-9._]*)\(", text)
    }


def test_engine_and_calc_give_the_same(ours, book, needs_office):
    path, where = book
    theirs = runner.compute(path)
    otherwise = {
        where[address]
        for (sheet, address), value in ours.values.items()
        if not _same(value, theirs[sheet, address])
    }
    always = {formula for many in OTHERWISE_IN_CALC.values() for formula in many}
    assert otherwise - OTHERWISE_IN_SOME == always

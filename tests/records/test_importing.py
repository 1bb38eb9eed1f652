"""What an import makes of files as brewers have them: written, skipped, rejected, refused."""

import datetime

import openpyxl
import pytest

from tests.records.conftest import TODAY
from xlfuncs.audit.typed import day
from xlfuncs.files.problems import WorkbookProblem
from xlfuncs.records import importing, tables

LOG = "date,batch,stage,instrument,reading,temperature,volume,volume_temperature,ph,note\n"


def entries(plan):
    """The lines to write, dates as text."""
    return [
        {
            name: day(value) if name.endswith("_date") else value
            for name, value in line.values.items()
        }
        for line in plan.lines
    ]


def reasons(plan):
    return dict(plan.rejected)


# --- reading the file ------------------------------

GERMAN = """Datum;Sud;Stufe;Messgerät;Ablesung;Temp. (°F);Menge (hL);pH-Wert;Farbe;Bemerkung
13.03.2026 09:10;Pale 12;Vorderwürze;Field;17,2;68;;5,3;gold;=gut
13.03.2026 10:10;pale  12;vor dem Kochen;;11,4;68;0,285;;gold;
"""
READ = [
    {"log_date": "2026-03-13 09:10", "log_batch": "Pale 12", "log_stage": "first runnings",
     "log_instrument": "Field", "log_reading": 17.2, "log_temperature": 20.0, "log_ph": 5.3,
     "log_note": "=gut"},
    {"log_date": "2026-03-13 10:10", "log_batch": "Pale 12", "log_stage": "before boil",
     "log_reading": 11.4, "log_temperature": 20.0, "log_volume": 28.5},
]  # fmt: skip


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_german_file_in_any_encoding(planned, encoding, end):
    plan = planned(GERMAN.replace("\n", end).encode(encoding))
    assert entries(plan) == READ
    assert plan.rejected == []
    told = dict(plan.told)
    assert told["separator"] == "semicolon"
    assert told["numbers"] == "with decimal comma"
    assert told["dates"] == "day, month, year"


@pytest.mark.parametrize("separator", [";", "\t", "|"])
def test_any_separator_and_one_that_the_file_names(planned, separator):
    text = GERMAN.replace(";", separator)
    assert entries(planned(text)) == READ
    assert entries(planned(f"sep={separator}\r\n{text}")) == READ


def test_an_american_file_in_other_words(planned):
    plan = planned(
        "Brew log of spring\n,,,\n"
        "Date,Time,Beer,Step,SG,Temp,Vol.,Kettle temp,Comment\n"
        '03/14/2026,9:05 AM,PALE 12,Pre-Boil,1.043,72 F,7.5 gal,150 F,"first, ""good"""\n'
        '03/14/2026,1:05 pm,13,OG,1051,21 °C,20 L,68,"two\nlines"\n'
        "03/14/2026,2:05 pm,13,OG,1.052,70\n",
        instrument="Glass", units="us",
    )  # fmt: skip
    assert [line.numbers for line in plan.lines] == [(4,), (5,), (7,)]
    assert entries(plan) == [
        {"log_date": "2026-03-14 09:05", "log_batch": "Pale 12", "log_stage": "before boil",
         "log_instrument": "Glass", "log_reading": 1.043, "log_note": 'first, "good"',
         "log_temperature": pytest.approx(22.2222, abs=1e-4),
         "log_volume": pytest.approx(28.3906, abs=1e-4),
         "log_volume_temperature": pytest.approx(65.5556, abs=1e-4)},
        {"log_date": "2026-03-14 13:05", "log_batch": "13", "log_stage": "into fermenter",
         "log_instrument": "Glass", "log_reading": 1.051, "log_note": "two\nlines",
         "log_temperature": 21.0, "log_volume": 20.0, "log_volume_temperature": 20.0},
        {"log_date": "2026-03-14 14:05", "log_batch": "13", "log_stage": "into fermenter",
         "log_instrument": "Glass", "log_reading": 1.052,
         "log_temperature": pytest.approx(21.1111, abs=1e-4)},
    ]  # fmt: skip


def test_quantities_go_into_the_units_of_the_workbook(planned, plain_book):
    plan = planned(LOG + "2026-03-14,Pale 12,before boil,,11.4,20 °C,20 L,68,,\n", into=plain_book)
    assert plan.lines[0].values["log_temperature"] == 68.0
    assert plan.lines[0].values["log_volume"] == pytest.approx(5.28344, abs=1e-5)
    assert plan.lines[0].values["log_volume_temperature"] == 68.0  # °F, as in the workbook


def test_a_workbook_of_ones_own_with_a_title_above_the_headings(planned, tmp_path):
    book = openpyxl.Workbook()
    book.active.title, book.active["A1"], book.active["A2"] = "Notes", "date", "of no use"
    sheet = book.create_sheet("Readings")
    for row in (
        ["Readings of spring"],
        [],
        ["Date", "Batch", "Stage", "Instrument", "Reading (°Bx)", "Sample temp [°C]", "Ok?"],
        [datetime.datetime(2026, 3, 14, 9, 31), "Pale 12", "mash", "Field", 12.4, 20.5, True],
        [],
        [datetime.date(2026, 3, 15), 13, "first runnings", None, "13.1 °Bx", None, False],
        [46097.5, 13.0, "first runnings", None, 12, None, None],
    ):
        sheet.append(row)
    path = tmp_path / "own.xlsx"
    book.save(path)
    plan = planned(path.read_bytes(), name="own.xlsx")
    assert [
        (line["log_date"], line["log_batch"], line["log_reading"]) for line in entries(plan)
    ] == [
        ("2026-03-14 09:31", "Pale 12", 12.4),
        ("2026-03-15", "13", 13.1),
        ("2026-03-16 12:00", "13", 12.0),
    ]
    assert [line.numbers for line in plan.lines] == [(4,), (6,), (7,)]
    assert dict(plan.told)["sheet"] == "“Readings”"
    with pytest.raises(WorkbookProblem, match="no sheet “Else”; it has: Notes, Readings"):
        planned(path.read_bytes(), name="own.xlsx", sheet="Else")


def test_a_workbook_whose_formulas_have_no_values_is_refused(planned, tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["date", "batch", "stage", "reading"])
    book.active.append(["=DATE(2026,3,14)", "Pale 12", "mash", 12])
    book.save(tmp_path / "own.xlsx")
    with pytest.raises(WorkbookProblem, match="values were never computed"):
        planned((tmp_path / "own.xlsx").read_bytes(), name="own.xlsx")


@pytest.mark.parametrize("name", ["lines.csv", "lines.xlsx"])
def test_half_a_million_empty_lines(planned, tmp_path, name):
    count = 500_000
    if name.endswith("csv"):
        empty = ",,,,,,,,,\n" * count
        content = LOG + empty + "2026-03-14,Pale 12,mash,,12.4,20,,,,\n" + empty
    else:
        book = openpyxl.Workbook()
        book.active.append(LOG.strip().split(","))
        book.active["A500002"], book.active["B500002"] = "2026-03-14", "Pale 12"
        book.active["C500002"], book.active["E500002"] = "mash", 12.4
        book.save(tmp_path / name)
        content = _with_styled_rows((tmp_path / name).read_bytes(), count)
    plan = planned(content, name=name)
    assert [line.numbers for line in plan.lines] == [(count + 2,)]
    assert plan.rejected == []


def _with_styled_rows(data, count):
    """The workbook with so many rows that hold nothing but a look."""
    from xlfuncs.files.package import packed, unpacked

    parts = unpacked(data)
    sheet = "xl/worksheets/sheet1.xml"
    rows = "".join(
        f'<row r="{row}" spans="1:2"><c r="A{row}" s="0"/><c r="B{row}" s="0"/></row>'
        for row in range(2, count + 2)
    )
    start = parts[sheet].index(b'<row r="500002"')
    parts[sheet] = parts[sheet][:start] + rows.encode() + parts[sheet][start:]
    return packed(parts)


# --- headings ------------------------------


def test_headings_that_mean_nothing_are_told_and_not_taken_over(planned):
    plan = planned("batch,stage,reading,Colour\nPale 12,mash,12.4,red\n")
    assert [one.column and one.column.name for one in plan.matched] == [
        "batch", "stage", "reading", None
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a,b,c\n1,2,3\n", "no heading of the table log was found (on top: “a”, “b”, “c”)"),
        (
            "Temp,Temperature,batch,stage,reading\n",
            "“Temp” and “Temperature” both mean temperature",
        ),
        ("date,date,batch,stage,reading\n", "“date” and “date” both mean date"),
        ("batch,reading\n", "no column stage: name it so or give one for all lines with --stage"),
        ("batch,stage,Colour\n", "no column reading or volume or ph: name it so or with --column"),
        ("batch,stage,reading,Volume (cups)\n", "“cups” is no unit of volume"),
        ("batch,stage,reading\n", "no lines below its headings"),
        ("", "is empty"),
        ("\n;;\n", "is empty"),
    ],
)
def test_headings_that_are_refused(planned, text, says):
    lines = "" if "below" in says or not text.strip("\n;") else "x,y,z,1,2\n"
    with pytest.raises(WorkbookProblem) as problem:
        planned(text + lines)
    assert says in str(problem.value)


def test_what_a_heading_means_can_be_said(planned):
    text = "Temp,Temperature,batch,stage,Volume (cold),Beobachtung\n20,68,Pale 12,mash,20,12.4\n"
    columns = ["Temperature=", "Volume (cold)=volume", "Beobachtung=reading"]
    assert entries(planned(text, columns=columns)) == [
        {"log_batch": "Pale 12", "log_stage": "mash", "log_reading": 12.4, "log_temperature": 20.0,
         "log_volume": 20.0}
    ]  # fmt: skip
    with pytest.raises(WorkbookProblem, match="no heading “Tmp”"):
        planned(text, columns=["Tmp=temperature"])
    with pytest.raises(WorkbookProblem, match="no column colour; it has date"):
        planned(text, columns=["Temp=colour"])
    with pytest.raises(WorkbookProblem, match="not of the form HEADING=NAME"):
        planned(text, columns=["Temp"])


def test_no_heading_has_two_meanings():
    for table in tables.TABLES.values():
        seen = {}
        for column in table.columns:
            for heading in (column.name, *column.headings):
                owner = seen.setdefault(tables.plain(heading), column.name)
                assert owner == column.name, f"{table.name}: {heading}"
        for column in table.columns:
            words = {}
            for word, others in column.words.items():
                for other in (word, *others):
                    assert words.setdefault(tables.plain(other), word) == word, (column.name, other)


# --- lines of the log ------------------------------


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("2026-03-14,Nix,mash,,12.4,,,,,", "batch “Nix” is not on Batches"),
        ("2026-03-14,Pale 12,brewing,,12.4,,,,,", "stage “brewing” is none of: mash"),
        ("2026-03-14,Pale 12,mash,Other,12.4,,,,,", "instrument “Other” is not on Setup"),
        ("2026-03-14,,mash,,12.4,,,,,", "batch is blank"),
        ("2026-03-14,Pale 12,,,12.4,,,,,", "stage is blank"),
        ("2026-03-14,Pale 12,mash,,,20,,,,", "reading, volume and ph are blank"),
        ("2026-03-14,Pale 12,mash,,abc,,,,,", "reading “abc” is not a number"),
        ("2026-03-14,Pale 12,mash,,212.4,,,,,", "reading 212.4 is outside -1 to 150"),
        ("2026-03-14,Pale 12,mash,,12.4,140,,,,", "temperature 140 is outside 0 to 100"),
        ("2026-03-14,Pale 12,mash,,12.4,20 x,,,,", "temperature “20 x”: “x” is no unit of it"),
        ("2026-03-14,Pale 12,mash,,12.4,,,,14,", "ph 14 is outside 2 to 12"),
        ("2026-03-14,Pale 12,mash,,12.4 SG,,,,,", "reading 12.4 is in SG, but Field shows Brix"),
        ("2026-03-14,Pale 12,mash,Glass,1.050 °P,,,,,", "in Plato as the file says, but"),
        ("2026-02-30,Pale 12,mash,,12.4,,,,,", "“2026-02-30” is no date"),
        ("2027-03-14,Pale 12,mash,,12.4,,,,,", "the date 2027-03-14 lies ahead"),
        ("2026-03-14,Pale 12,mash,,12.4,,,,,note,more", "it has 11 values, but there are 10"),
        ("x,Nix,mash,,abc,,,,,", "“x” is no date (year, month, day) from 2000 to 2099; bat"),
    ],
)  # fmt: skip
def test_a_line_is_rejected_with_its_number_and_reason_and_the_others_are_not(
    planned, line, reason
):
    good = "2026-03-15 10:00,Pale 12,mash,,12.5,20.5,,,5.4,\n"
    plan = planned(LOG + good + line + "\n" + good)
    assert reason in reasons(plan)[3]
    assert [one.numbers for one in plan.lines] == [(2,), (4,)]
    assert list(reasons(plan)) == [3]


def test_numbers_in_two_ways_are_refused_or_those_in_the_other_way_rejected(planned):
    text = "batch;stage;reading\n13;mash;12,4\n13;mash;12.41\n"
    with pytest.raises(WorkbookProblem, match=r"“12,4” on line 2, “12\.41” on line 3"):
        planned(text)
    plan = planned(text, decimal="comma")
    assert reasons(plan) == {3: "reading “12.41” is no number with decimal comma"}


def test_dates_in_two_orders_are_refused_or_those_in_the_other_order_rejected(planned):
    text = LOG + "03/14/2026,13,mash,,12.4,,,,,\n14/03/2026,13,mash,,12.4,,,,,\n"
    with pytest.raises(WorkbookProblem, match="dates stand in two orders: “14/03/2026” on line 3"):
        planned(text)
    assert list(reasons(planned(text, dates="mdy"))) == [3]
    assert list(reasons(planned(text, dates="dmy"))) == [2]


def test_readings_afloat_are_brought_to_the_scale_of_the_instrument(planned):
    plan = planned(
        "batch,stage,instrument,reading\n"
        "13,og,Glass,12.5 °P\n13,og,Saccharometer,1.050 SG\n13,og,Saccharometer,12.4 Brix\n"
        "13,og,Glass,1050\n13,og,Glass,1.05\n"
    )
    assert [line.values["log_reading"] for line in plan.lines] == [
        pytest.approx(1.0505, abs=1e-4), pytest.approx(12.39, abs=1e-2), 12.4, 1.05, 1.05
    ]  # fmt: skip


def test_lines_that_are_there_are_skipped_as_often_as_they_are_there(planned):
    line = "2026-03-14 09:30,pale 12,pre-boil,,11.4,,,,,another note\n"
    plan = planned(LOG + line + line)
    assert plan.there == [2]
    assert [one.numbers for one in plan.lines] == [(3,)]  # a second drop that reads the same
    other = line.replace("11.4", "11.5") + line.replace("09:30", "09:31")
    assert len(planned(LOG + other).lines) == 2


def test_lines_stand_in_the_order_of_the_file_and_dates_that_go_back_are_named(planned):
    days = ("2026-03-14", "2026-03-16", "2026-03-15", "2026-03-17")
    plan = planned(LOG + "".join(f"{day},13,mash,,12.4,,,,,\n" for day in days))
    assert [line["log_date"] for line in entries(plan)] == list(days)
    assert "line 4 (2026-03-15 after 2026-03-16)" in plan.notices[0]


def test_newest_first_is_turned_round(planned):
    days = ("2026-03-17", "2026-03-16", "2026-03-16", "2026-03-15")
    plan = planned(LOG + "".join(f"{day},13,mash,,12.4,,,,,\n" for day in days))
    assert [line["log_date"] for line in entries(plan)] == sorted(days)
    assert "newest line stands first" in plan.notices[0]


@pytest.mark.parametrize("text", ["=1+1", "+5", "-5", "@home", "  spaced  "])
def test_text_stays_text(planned, text):
    plan = planned(LOG + f"2026-03-14,13,mash,,12.4,,,,,{text}\n")
    assert plan.lines[0].values["log_note"] == text.strip()


# --- other tables ------------------------------


def test_instruments(planned):
    plan = planned(
        "name,type,serial no,scale,division,ATC,reads true at [°F],tolerance,check_every\n"
        "New,ATC,R-2,°Bx,0.2,yes,,0.2,30 days\n"
        "Jar,Spindel,,SG,.001,,60,0.002,365\n"
        "Field,refractometer,R-1,,,,,,\n"
        "field,,R-9,,,,,,\n"
        "Renamed,,r-1,,,,,,\n"
        "Jar,,,Plato,,,,,\n",
        "instruments",
    )
    assert reasons(plan) == {
        2: "kind “ATC” is none of: refractometer, hydrometer, floating hydrometer, thermometer",
        5: "instrument “field” is in the workbook already, with identity “R-1” there and “R-9” "
        "here",
        6: "the mark r-1 is that of “field”: was the instrument renamed?",
        7: "instrument “Jar” is on line 3 already, with scale “SG” there and “Plato” here",
    } | {4: reasons(plan)[4]}
    assert "kind blank there" in reasons(plan)[4]  # blank counts as a refractometer, but is blank
    assert entries(plan) == [
        {"inst_name": "Jar", "inst_kind": "hydrometer", "inst_scale": "SG", "inst_division": 0.001,
         "inst_reference": pytest.approx(15.5556, abs=1e-4), "inst_tolerated": 0.002,
         "inst_interval": 365.0}
    ]  # fmt: skip


def test_batches(planned):
    plan = planned(
        "Batch Name,Brew Date,Grist (lb),Boil Time (min),Pre-Boil Gravity,Pre-Boil Volume (gal),OG,"
        "FG,Notes\n"
        "Stout 14,12/27/2026,11,90,1.055,7.5,1066,1.018,-5 psi\n"
        "pale 12,,,,,,1.050,,\n"
        "Pale 12,,11.4640376,,,,1.052,,\n"
        "Stout 14,12/27/2026,12,90,,,,,\n"
        "Odd,,,,,,12.4,,\n",
        "batches",
    )
    assert entries(plan) == [
        {"batch_name": "Stout 14", "batch_date": "2026-12-27", "batch_minutes": 90.0,
         "batch_grain": pytest.approx(4.98952, abs=1e-5), "batch_before_boil_gravity": 1.055,
         "batch_before_boil_volume": pytest.approx(28.3906, abs=1e-4),
         "batch_into_fermenter_gravity": 1.066, "batch_packaged_gravity": 1.018,
         "batch_note": "-5 psi"}
    ]  # fmt: skip
    assert plan.there == [3]
    assert reasons(plan) == {
        4: "batch “Pale 12” is in the workbook already, with into_fermenter_gravity 1.05 SG there "
           "and 1.052 SG here",
        5: "batch “Stout 14” is on line 2 already, with grain 4.98952 kg there and 5.44311 kg here",
        6: "gravity 12.4 is no SG, as the others are",
    }  # fmt: skip


def test_plans_in_plato(planned):
    plan = planned("batch;OG;FG\nA;12,5;1,0\nB;16;3,5\nC;1,048;\n", "batches")
    assert plan.scale == "Plato"
    assert [line["batch_into_fermenter_gravity"] for line in entries(plan)] == [
        pytest.approx(1.0505, abs=1e-4), pytest.approx(1.0655, abs=1e-4)
    ]  # fmt: skip
    assert entries(plan)[0]["batch_packaged_gravity"] == pytest.approx(1.0039, abs=1e-4)
    assert reasons(plan) == {4: "gravity 1.048 looks like SG, but the others are in °Plato"}


def test_points_of_one_check_are_joined_to_one_line(planned):
    plan = planned(
        "instrument,date,temperature,reading,reference,reference_in,made_of,as,who,note\n"
        "Field,2026-03-14,20,0.1,,,,,Jo,\n"
        "Glass,2026-03-14,20,1.001,1000,,,found,Jo,\n"
        "Field,2026-03-14,20,10.1,10,,sugar,as found,Jo,weighed\n"
        "Field,2026-03-14,20,20.2,20,,sugar,,Jo,twice\n"
        "Field,2026-03-14,20,15.2,15,,sugar,,Jo,\n"
        "Field,2026-03-14,20,0,,,,left,Jo,screw turned\n"
        "Probe,2026-03-14,,0.3,0,,,,,\n"
        "Field,2026-03-14,,9,,,malt extract,,,\n"
        "Field,,,9,,,,,,\n"
        "Field,2026-03-15,19,10.2,1.040,SG,,,,\n"
        "Field,2025-03-01,,0.1,,,,,,\n",
        "checks",
    )
    day = {"check_date": "2026-03-14", "check_temperature": 20.0, "check_who": "Jo"}
    field = {"check_instrument": "Field", **day}
    numbers = [line.numbers for line in plan.lines]
    assert list(zip(numbers, entries(plan), strict=True)) == [
        ((2, 4, 5), field | {"check_shown_1": 0.1, "check_shown_2": 10.1, "check_known_2": 10.0,
                             "check_shown_3": 20.2, "check_known_3": 20.0, "check_made_of": "sugar",
                             "check_as": "as found", "check_note": "weighed; twice"}),
        ((3,), day | {"check_instrument": "Glass", "check_shown_1": 1.001, "check_as": "as found"}),
        ((6,), field | {"check_shown_2": 15.2, "check_known_2": 15.0, "check_made_of": "sugar"}),
        ((7,), field | {"check_shown_1": 0.0, "check_as": "as left", "check_note": "screw turned"}),
        ((8,), {"check_instrument": "Probe", "check_date": "2026-03-14", "check_shown_1": 0.3}),
        ((11,), {"check_instrument": "Field", "check_date": "2026-03-15", "check_temperature": 19.0,
                 "check_shown_2": 10.2, "check_known_2": 1.04, "check_known_in": "SG"}),
    ]  # fmt: skip
    assert plan.there == [12]
    assert reasons(plan) == {9: "the true value of the solution is missing", 10: "date is blank"}


# --- floating hydrometers ------------------------------


def _export(hours, per_hour, start=datetime.datetime(2026, 3, 20)):
    lines = [
        f"{start + datetime.timedelta(minutes=60 / per_hour * i):%Y-%m-%d %H:%M:%S},"
        f"{1.05 - 0.0001 * (i // per_hour) + (0.05 if i % per_hour == 1 else 0):.4f},"
        f"{20 + (i % per_hour) / 10:.1f}\n"
        for i in range(hours * per_hour)
    ]
    return "timestamp,SG,temp\n" + "".join(lines)


def test_many_readings_afloat_become_medians_of_each_hour(planned):
    plan = planned(_export(3, 5), batch="Pale 12", instrument="tank floater")
    assert entries(plan) == [
        {"log_batch": "Pale 12", "log_stage": "fermenting", "log_instrument": "Tank floater",
         "log_date": f"2026-03-20 0{hour}:24", "log_temperature": 20.2,
         "log_reading": pytest.approx(1.05 - 0.0001 * hour, abs=1e-9),  # the odd one does no harm
         "log_note": "median of 5 readings"}
        for hour in range(3)
    ]  # fmt: skip
    assert plan.notices == [
        "Tank floater, batch Pale 12: 15 readings are thinned to the median of each hour"
    ]
    assert dict(plan.told)["stage"] == "“fermenting”: all are of floating hydrometers"
    longer = planned(_export(48, 5), batch="Pale 12", instrument="Tank floater", hours=12)
    assert len(longer.lines) == 4


def test_readings_once_an_hour_stay_as_they_are(planned):
    plan = planned(_export(3, 1), batch="Pale 12", instrument="Tank floater")
    assert [line.values.get("log_note") for line in plan.lines] == [None] * 3
    assert plan.notices == []


def test_a_glass_hydrometer_is_never_thinned(planned):
    plan = planned(_export(2, 4), batch="Pale 12", instrument="Glass", stage="fermenting")
    assert len(plan.lines) == 8


def test_hours_that_are_there_are_skipped_though_their_median_has_moved(planned, book):
    book.write_bytes(
        importing.entered(planned(_export(3, 4), batch="13", instrument="Tank floater"))
    )
    plan = planned(_export(5, 5), batch="13", instrument="Tank floater")
    assert len(plan.there) == 3
    assert [line["log_date"] for line in entries(plan)] == ["2026-03-20 03:24", "2026-03-20 04:24"]


def test_batch_and_instrument_of_a_whole_file_must_be_known(planned):
    with pytest.raises(WorkbookProblem, match="--batch: batch “Nix” is not on Batches"):
        planned(_export(1, 2), batch="Nix", instrument="Tank floater")
    with pytest.raises(WorkbookProblem, match="--instrument: instrument “Nix” is not on Setup"):
        planned(_export(1, 2), batch="13", instrument="Nix")
    with pytest.raises(WorkbookProblem, match="no column batch"):
        planned(_export(1, 2), instrument="Tank floater")
    with pytest.raises(WorkbookProblem, match="no column stage"):
        planned(_export(1, 2), batch="13", instrument="Glass")


def test_what_no_log_can_hold_is_refused_with_what_would_help(planned):
    with pytest.raises(WorkbookProblem, match=r"need 5,402 lines and can have 5,000; .*--hours 2"):
        planned(_export(5401, 2), batch="13", instrument="Tank floater")


# --- files that are none ------------------------------


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("a.ods", b"PK", "not a .csv or .xlsx file"),
        ("a.csv", b"PK\x03\x04xx", "is no text but a packed file"),
        ("a.csv", b"date\0\0\0;\1\0\0\0", "is no text"),
        ("a.csv", b"date;reading\n\x81\x8d;1\n", "line 2 holds bytes that are no text"),
        ("a.csv", b'date;reading\n"2026;1\n3;4\n', "the quotation marks of line"),
        ("a.xlsx", b"PK no workbook", "cut short or damaged"),
        ("a.xlsx", b"date;reading\n", "not an Excel workbook"),
    ],
)
def test_files_that_are_none(planned, name, content, says):
    with pytest.raises(WorkbookProblem) as problem:
        planned(content, name=name)
    assert says in str(problem.value)


def test_a_file_that_is_not_there(tmp_path):
    from xlfuncs.records import reading

    with pytest.raises(WorkbookProblem, match=r"nowhere\.csv cannot be read"):
        reading.content(tmp_path / "nowhere.csv")


def test_today_is_no_day_ahead(planned):
    text = LOG + f"{TODAY.isoformat()} 23:59,13,mash,,12.4,,,,,\n"
    assert planned(text).rejected == []

"""The record of an audit as a workbook to keep, to print and to sign.

It says whose readings of which files it is, shows every check and every reading with the check in
force, then what was found, and leaves room for signatures.  The same files, audited as of the same
day, give the same bytes.  All that came out of a workbook is text here or a number: nothing in it
can run as a formula.
"""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Iterator, Sequence
from typing import Any

from xlfuncs.audit import pictures
from xlfuncs.audit.entries import Cell
from xlfuncs.audit.findings import Finding, Severity
from xlfuncs.audit.paper import BOLD, HEADING, LINE, SECTION, TEXT, TITLE, Book, Column
from xlfuncs.audit.record import Reading, Record
from xlfuncs.audit.run import Audited
from xlfuncs.audit.setup import Check, Piece
from xlfuncs.audit.typed import day, is_number, name, read_number
from xlfuncs.cells.values import is_blank, show
from xlfuncs.science import conformity, gravity
from xlfuncs.workbook import build, words
from xlfuncs.workbook.kit import styles

_SIGNED_TWO, _FINE = "+0.00##;-0.00##;0.00", "0.0000"
#: Days that a picture shows before the first and after the last.
_BESIDE_DAYS = 7
_CAUTION = (
    "Gravities on labels, and those that duty is paid by, follow the rules of your country; beer "
    "whose gravity is in doubt may not be finished, and bottles of it may burst. This record is "
    "made of what was typed into the files: it is no certificate of an accredited laboratory."
)
_METHOD = (
    "Every reading is traced to the check of its instrument that was in force at its time, in "
    "whichever of the files that check stands. Gravities are computed anew from what was typed: "
    "SG 20 °C/20 °C, each with its ± of about 95 % (two standard uncertainties). An instrument is "
    "known over all files by its mark, one without a mark by its name. Each line keeps the units, "
    "the wort factor and the tolerances of its own file. A reading that stands in two files counts "
    "once. “File 2 · Log E12” is cell E12 of sheet Log in the second file of the list."
)


def workbook(audited: Audited) -> bytes:
    """The record as the bytes of an .xlsx file."""
    return _Document(audited).content()


class _Document:
    def __init__(self, audited: Audited) -> None:
        self.audit, self.year = audited.audit, audited.year
        self.numbers = {one.file: place for place, one in enumerate(self.audit.files, 1)}
        told = "\n".join(
            [self.audit.version, self.audit.audited_on,
             *(f"{one.sha256} {one.file}" for one in self.audit.files)]
        )  # fmt: skip
        self.identity = hashlib.sha256(told.encode("utf-8", "surrogatepass")).hexdigest()[:16]
        self.book = Book(f"Record {self.identity} of {self.audit.audited_on}")

    def content(self) -> bytes:
        """All sheets, one after the other."""
        self._cover()
        self._checks()
        self._readings()
        self._findings()
        self._doubts()
        self._pictures()
        self._signatures()
        properties = self.book.book.properties
        properties.creator, properties.title = "xlfuncs", f"Record {self.identity}"
        made = datetime.datetime.fromisoformat(self.audit.audited_on)
        properties.created = properties.modified = made
        return build.to_bytes(self.book.book)

    def _where(self, cell: Cell) -> str:
        return f"File {self.numbers[cell.file]} · {cell.sheet} {cell.address}"

    # --- the first page ------------------------------

    def _cover(self) -> None:
        page = self.book.page(
            "Record",
            [Column("", 6, styles.WHOLE), Column("", 40), Column("", 11), Column("", 11),
             Column("", 9, styles.WHOLE), Column("", 9, styles.WHOLE), Column("", 55)],
            headings=False,
        )  # fmt: skip
        page.row(["Record of gravity readings and of the instruments behind them"], TITLE,
                 across=1, height=28)  # fmt: skip
        for what, value in self._facts():
            page.row(["", what, value], across=3)
        page.row(["", _METHOD], across=2)
        page.row(["", _CAUTION], BOLD, across=2)
        page.row(["Files"], SECTION, height=24)
        page.row(["no.", "file", "first", "last", "checks", "readings", "SHA-256"], HEADING)
        of = {record.file: record for record in self.year.records}
        differ = len({_settings(record) for record in self.year.records}) > 1
        for number, one in enumerate(self.audit.files, 1):
            record = of.get(one.file)
            first, last = _span(record.readings) if record else ("", "")
            told = [one.file]
            told += [_settings(record)] if record and differ else []
            told += [f"{one.repeated} more stand in other files"] if one.repeated else []
            page.row([number, "\n".join(told), first, last, one.checks, one.readings,
                      one.sha256 or "cannot be read"])  # fmt: skip
        page.row(["Instruments"], SECTION, height=24)
        page.row(["no.", "instrument, and its mark", "first read", "last read", "checks",
                  "readings", "what it is"], HEADING)  # fmt: skip
        for number, piece in enumerate(self.year.pieces, 1):
            page.row([number, _called(piece), *_span(piece.readings), len(piece.checks),
                      len(piece.readings), _described(piece)])  # fmt: skip
        page.finish()

    def _facts(self) -> Iterator[tuple[str, str]]:
        readings = [r for record in self.year.records for r in record.readings]
        first, last = _span(readings)
        counts = ", ".join(f"{count} {what}" for what, count in self.audit.totals().items())
        yield "Brewery", ", ".join(self.year.breweries.values()) or "not named in the files"
        yield "Period", f"{first} to {last}" if first else "no dated reading"
        yield "Readings", f"{len(readings)}; workbooks: {len(self.audit.files)}"
        yield "Findings", counts
        yield "Audited on", f"{self.audit.audited_on}, with xlfuncs {self.audit.version}"
        yield "This record", f"{self.identity}, as at the foot of each page"

    # --- checks ------------------------------

    def _checks(self) -> None:
        page = self.book.page(
            "Checks",
            [Column("instrument, mark", 16), Column("when", 15), Column("as found, as left", 8),
             Column("°C", 5), Column("it showed", 10), Column("true value", 13),
             Column("correction (shown less true)", 9, _SIGNED_TWO),
             Column("± of it", 7, "0.00##"), Column("slope", 6, "0.000"),
             Column("tolerated from", 8, _SIGNED_TWO), Column("to", 7, _SIGNED_TWO),
             Column("verdict", 8), Column("who", 8), Column("what was done", 10),
             Column("where", 13)],
        )  # fmt: skip
        self.traces: list[tuple[Piece, int, int]] = []
        self.checks = page
        for piece in self.year.pieces:
            first = page.rows + 1
            for check in piece.checks:
                page.row(self._check(check))
            if piece.checks:
                self.traces.append((piece, first, page.rows))
        for record in self.year.records:
            for cell, row, reason in record.refused.useless:
                page.row(self._useless(record, cell, row, reason))
            for cell, row in record.refused.unknown:
                page.row(self._useless(record, cell, row, "its instrument is not on Setup"))
        page.finish()

    def _check(self, check: Check) -> list[Any]:
        tool = check.tool
        also = f" and {check.also} more files" if check.also else ""
        return [
            _named(tool.name, tool.identity),
            (check.when, styles.DATE if check.when == int(check.when) else styles.MOMENT),
            words.AS_LEFT if check.as_left else words.AS_FOUND,
            *_points(check.row, tool.scale, tool.kind), check.offset,
            conformity.COVERAGE * check.sure.level, check.slope,
            -tool.tolerance, tool.tolerance, "within" if check.tolerated else "outside",
            check.who, name(check.row.value("note")), self._where(check.cell) + also,
        ]  # fmt: skip

    def _useless(self, record: Record, cell: Cell, row: Any, reason: str) -> list[Any]:
        when = row.value("date")
        return [
            name(row.value("instrument")) or "the first instrument",
            day(when) if is_number(when) and 0 < when < 1e5 else name(when),
            name(row.value("as")), *_points(row, "", ""), None, None, None, None, None,
            reason, name(row.value("who")), name(row.value("note")), self._where(cell),
        ]  # fmt: skip

    # --- readings ------------------------------

    def _readings(self) -> None:
        page = self.book.page(
            "Readings",
            [Column("when", 10), Column("batch", 12), Column("stage", 9),
             Column("instrument", 12), Column("it showed", 8, "0.0####"),
             Column("°C", 6, "0.0"), Column("check in force", 15),
             Column("correction of that check", 9, _SIGNED_TWO),
             Column("correction in all", 9, _SIGNED_TWO),
             Column("original SG", 8, _FINE), Column("SG", 8, _FINE), Column("±", 7, _FINE),
             Column("its workbook shows", 8, _FINE), Column("verdict", 11),
             Column("where", 11)],
        )  # fmt: skip
        readings = [r for record in self.year.records for r in record.readings]
        for reading in sorted(readings, key=lambda reading: reading.order):
            if not is_blank(reading.shown):
                page.row(self._reading(reading))
        page.finish()

    def _reading(self, reading: Reading) -> list[Any]:
        tool, check, row = reading.instrument, reading.check, reading.row
        in_force = "none"
        if check:
            left = f" {words.AS_LEFT}" if check.as_left else ""
            in_force = f"{day(check.when)}{left}, file {self.numbers[check.cell.file]}"
        original = reading.original[0] if reading.original else None
        shown, found = row.value("sg"), reading.sg
        verdicts = [reading.verdict] if reading.verdict else []
        verdicts += [f"volume: {reading.volume_verdict}"] if reading.volume_verdict else []
        return [
            day(reading.when) if reading.when is not None else name(row.value("date")),
            name(row.value("batch")), reading.stage,
            tool.name if tool else f"{show(row.value('instrument'))}: not on Setup",
            reading.shown if is_number(reading.shown) else name(reading.shown),
            reading.celsius, in_force, check.offset if check else None, _corrected(reading),
            original if reading.start or is_number(original) else None,
            found if found is None or is_number(found) else str(found).removeprefix("! "),
            None if reading.u is None else conformity.COVERAGE * reading.u,
            shown if is_number(shown) else None,
            "; ".join(one.removeprefix("! ") for one in verdicts), self._where(reading.cell),
        ]  # fmt: skip

    # --- what was found ------------------------------

    def _findings(self) -> None:
        page = self.book.page(
            "Findings",
            [Column("severity", 8), Column("finding", 16), Column("where", 22),
             Column("what is wrong", 97)],
        )  # fmt: skip
        found = self._all()
        for finding in found:
            page.row([finding.severity.value, finding.code, self._place(finding), finding.reason],
                     BOLD if finding.severity is Severity.SEVERE else TEXT)  # fmt: skip
        if not found:
            page.row(["", "", "", "nothing was found"])
        page.finish()

    def _all(self) -> list[Finding]:
        order = list(Severity)
        found = [finding for one in self.audit.files for finding in one.findings]
        return sorted(found, key=lambda finding: order.index(finding.severity))

    def _place(self, finding: Finding) -> str:
        return f"File {self.numbers[finding.file]}" + (
            f" · {finding.sheet} {finding.cell}" if finding.sheet else ""
        )

    def _doubts(self) -> None:
        page = self.book.page(
            "In doubt",
            [Column("the check that was outside", 57), Column("read", 11), Column("batch", 24),
             Column("where", 20), Column("SG in the record", 10, _FINE),
             Column("SG with this check", 10, _FINE),
             Column("difference", 11, "+0.0000;-0.0000;0.0000")],
        )  # fmt: skip
        some = [finding for finding in self._all() if finding.in_doubt]
        for finding in some:
            check = f"{self._place(finding)}: {finding.reason.partition(',')[0]}"
            for doubt in finding.in_doubt:
                page.row([
                    check, doubt.date, doubt.batch,
                    f"File {self.numbers[doubt.file]} · {doubt.sheet} {doubt.cell}",
                    doubt.recorded_sg, doubt.corrected_sg, doubt.corrected_sg - doubt.recorded_sg,
                ])  # fmt: skip
        if not some:
            page.row(["no reading is in doubt: no instrument was found outside its tolerance"])
        page.finish()

    def _pictures(self) -> None:
        columns = [Column("", 20, styles.DATE), Column("", 20), Column("", 20), Column("", 83)]
        page = self.book.page("Pictures", columns, headings=False, fit=False)
        page.row(["What each check of an instrument found, with its ±; dashed: what is tolerated"],
                 SECTION, height=20)  # fmt: skip
        if not self.traces:
            page.row(["there is no check to show"])
        for place, (piece, first, last) in enumerate(self.traces):
            if place and place % 2 == 0:
                page.break_here()
            title = f"{_called(piece)}: correction in {piece.lines[0].unit}"
            pictures.add(page, self.checks, title, piece, first, last, self._period())
        page.finish()

    def _period(self) -> tuple[float, float]:
        """First and last day of readings and checks."""
        days = [r.when for record in self.year.records for r in record.readings
                if r.when is not None]  # fmt: skip
        days += [check.when for piece in self.year.pieces for check in piece.checks]
        return int(min(days)) - _BESIDE_DAYS, int(max(days)) + _BESIDE_DAYS

    # --- signatures ------------------------------

    def _signatures(self) -> None:
        page = self.book.page("Signatures", [Column("", 30), Column("", 48), Column("", 22),
                                             Column("", 43)], headings=False)  # fmt: skip
        page.row(["Signatures"], SECTION, height=24)
        page.row([f"Of record {self.identity}, audited as of {self.audit.audited_on}: "
                  "the files with the checksums on the first page."],
                 across=1)  # fmt: skip
        page.row(["", "name", "day", "signature"], HEADING)
        for who in ("for the brewery", "audited by", "accepted by"):
            page.row([who, "", "", ""], LINE, height=42)
        page.row(["Remarks"], SECTION, height=30)
        for _ in range(6):
            page.row(["", "", "", ""], LINE, height=30)
        page.finish()


# --- how things are told ------------------------------


def _span(readings: Sequence[Reading]) -> tuple[str, str]:
    """First and last day of some readings; blank without a date."""
    dated = [reading.when for reading in readings if reading.when is not None]
    return (day(int(min(dated))), day(int(max(dated)))) if dated else ("", "")


def _settings(record: Record) -> str:
    """What a file reckons with, told where the files differ."""
    taken = record.settings
    return (
        f"{taken.gravity}, °{taken.temperature}; wort factor {taken.wort_factor:.4g}, "
        f"for beer {taken.beer_wort_factor:.4g}; on target within ±{taken.tolerance:g}"
    )


def _named(called: str, identity: str) -> str:
    return f"{called}, {identity}" if identity else called


def _called(piece: Piece) -> str:
    """The names of an instrument, as files came by, and its mark."""
    names = " / ".join(dict.fromkeys(line.name for line in piece.lines))
    return _named(names, piece.identity)


def _described(piece: Piece) -> str:
    tool = piece.lines[-1]
    files = len({line.cell.file for line in piece.lines})
    marked = [bool(line.mark) for line in piece.lines]
    by = "its mark" if all(marked) else "its mark, or its name" if any(marked) else "its name"
    joined = f"; joined by {by} over {files} files" if files > 1 else ""
    scale = f" in {'°Brix' if tool.scale == 'Brix' else tool.scale}" if tool.scale else ""
    if tool.kind not in words.KINDS:
        return f"{show(tool.kind)} is no kind of instrument{joined}"
    return (
        f"{tool.kind}{scale}, tolerated ±{tool.tolerance:g} {tool.unit}, "
        f"checked every {tool.interval:g} days{joined}"
    )


def _points(row: Any, scale: str, kind: str) -> list[Any]:
    """Temperature of a check, what the instrument showed, and what would have been true."""
    water = "melting ice" if kind == words.THERMOMETER else "water"
    unit = name(row.value("known_in")) or scale
    shown, known = [], []
    for place in (1, 2, 3):
        value = row.value(f"shown_{place}")
        true = water if place == 1 else row.value(f"known_{place}")
        if not is_blank(value):
            shown.append(name(value))
            known.append("?" if is_blank(true) else name(true))
    made_of = name(row.value("made_of"))
    tail = f" {unit}" if unit and known[1:] else ""
    tail += f" of {made_of}" if made_of and known[1:] else ""
    warm = row.value("temperature")
    return [name(warm), "; ".join(shown), "; ".join(known) + tail]


def _corrected(reading: Reading) -> float | None:
    """What check and temperature took from a reading, °Bx of a refractometer, else SG."""
    tool, shown = reading.instrument, read_number(reading.shown)
    if tool is None or not isinstance(reading.sg, float) or shown != shown:
        return None
    if tool.refracts:
        if reading.brix is None:
            return None
        return reading.brix - (float(gravity.convert(shown, "SG", "Brix"))
                               if tool.scale == "SG" else shown)  # fmt: skip
    return reading.sg - (float(gravity.convert(shown, "Plato", "SG"))
                         if tool.scale == "Plato" else shown)  # fmt: skip

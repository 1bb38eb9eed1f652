"""The rules of the audit: each looks at one thing and yields what it finds.

At what was typed into a file (`ENTRY_RULES`), at the readings of a file (`RULES`), and across all
files at an instrument, a batch, the year (`INSTRUMENT_RULES`, `BATCH_RULES`, `YEAR_RULES`);
docs/audit.md explains the codes.
"""

from __future__ import annotations

import bisect
import itertools
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from xlfuncs.audit import gravities, year
from xlfuncs.audit import record as records
from xlfuncs.audit.entries import Cell, Entries
from xlfuncs.audit.findings import NOTE, SEVERE, WARNING, Doubt, Finding, Severity
from xlfuncs.audit.record import Brew, Reading, Record
from xlfuncs.audit.setup import Check, Instrument, Piece
from xlfuncs.audit.typed import (
    day,
    initial,
    is_number,
    name,
    number,
    plain,
    read_number,
    understood,
    understood_gravity,
)
from xlfuncs.audit.year import Year
from xlfuncs.cells.values import is_blank, is_passed_on, show, show_sg
from xlfuncs.science import conformity, gravity
from xlfuncs.workbook import defaults, words

#: A compensated refractometer without limits of its own; common practice.
COMPENSATES = (10.0, 30.0)
#: A hydrometer above this is read hot, °C: the correction is then large; common practice.
HOT = 40.0
#: Stored and computed gravities that print alike.
SAME_SG = 5e-5
#: Drops of one wort, of all files, that a jar is compared to.
_BESIDE = 12
#: What makes a spreadsheet take a text for a formula.
_LIKE_FORMULA = re.compile(r"[=+\-@]\S")


@dataclass(frozen=True)
class Seen:
    """What a rule looks at: the record, and the day of the audit."""

    record: Record
    today: float


@dataclass(frozen=True)
class Typed:
    """What a rule about entries looks at: the cells, and how they are understood."""

    book: Entries
    record: Record


Rule = Callable[[Seen], Iterator[Finding]]


def _at(cell: Cell, code: str, severity: Severity, reason: str, *doubts: Doubt) -> Finding:
    return Finding(code, severity, cell.sheet, cell.address, reason, doubts, cell.file)


def entries_that_are_no_values(seen: Typed) -> Iterator[Finding]:
    """A formula where a value belongs; a text that looks like a formula."""
    for column in records.TYPED:
        for cell in seen.book.filled(column):
            if cell.formula:
                yield _at(
                    cell, "formula", WARNING,
                    "a formula stands where a value belongs; its stored value was taken: type the "
                    "value, so that the record cannot change by itself",
                )  # fmt: skip
            elif isinstance(cell.value, str) and _LIKE_FORMULA.match(cell.value):
                yield _at(cell, "text-like-formula", NOTE, "begins like a formula; kept as text")


def below(seen: Typed) -> Iterator[Finding]:
    """Lines that stand below the frame of their table: nothing reads them."""
    for column in records.BELOW:
        cell = next((c for c in seen.book.filled(column) if not is_blank(c.value)), None)
        if cell:
            yield _at(
                cell, "below-frame", SEVERE,
                "stands below the last line of its table, where nothing is read: xlfuncs upgrade "
                "takes it in",
            )  # fmt: skip


def settings(seen: Typed) -> Iterator[Finding]:
    """Units that are none, and texts where only a number counts: what a blank means counts."""
    book, taken = seen.book, seen.record.settings
    units = (
        ("set_volume", taken.litres is not None, "no extract is reckoned"),
        ("set_temperature", _begins(book, "set_temperature", "CF"), f"°{taken.temperature} counts"),
        ("set_gravity", _begins(book, "set_gravity", "SP"), f"{taken.gravity} counts"),
        ("set_mass", _begins(book, "set_mass", "KL"), f"{taken.mass} counts"),
    )
    for setting, known, instead in units:
        cell = book.single(setting)
        if not known and not is_blank(cell.value):
            yield _at(cell, "unit", SEVERE, f"{show(cell.value)} is no unit, {instead}")
    marks = book.single("set_marks")
    if plain(marks.value) not in ("", words.COLD, words.HOT):
        yield _at(
            marks, "marks", WARNING,
            f"{show(marks.value)} is neither {words.COLD} nor {words.HOT}: {words.COLD} counts",
        )  # fmt: skip
    for column in records.NUMBERS:
        reach = defaults.REACHES.get(column)
        for cell in book.filled(column):
            value = cell.value if column in defaults.NUMBERS else _as_number(column, cell.value)
            if is_blank(value):
                continue
            if not is_number(value):
                instead = f": {reach.instead}" if reach else ": it may count as blank"
                yield _at(
                    cell, "no-number", WARNING, f"{show(cell.value)} is no number here{instead}"
                )
            elif reach and not reach.holds(value, taken.temperature, taken.gravity):
                yield _at(
                    cell, "out-of-limits", WARNING,
                    f"{reach.refusal(show(cell.value))}: {reach.instead}",
                )  # fmt: skip


def _as_number(column: str, value: Any) -> Any:
    """A text beyond Setup as the number that it says, as the sheets take it; others as they are."""
    return understood_gravity(value) if column.startswith("check_known") else understood(value)


def _begins(book: Entries, name: str, letters: str) -> bool:
    return initial(book.cell(name)) in tuple(letters)


def names(seen: Seen) -> Iterator[Finding]:
    """Instruments and batches that are not on their sheets, or stand there twice; stages."""
    record = seen.record
    renamed = "is not on Setup: was it renamed? Give every line the same name"
    for cell, _ in record.refused.unknown:
        yield _at(cell, "unknown-instrument", SEVERE, f"{show(cell.value)} {renamed}")
    for reading in record.readings:
        tool, batch, stage = reading.row["instrument"], reading.row["batch"], reading.row["stage"]
        if reading.instrument is None and not is_blank(reading.shown):
            told = show(tool.value) if not is_blank(tool.value) else "the instrument"
            yield _at(tool, "unknown-instrument", SEVERE, f"{told} {renamed}")
        elif reading.instrument and not (reading.instrument.refracts or reading.instrument.floats):
            what = reading.instrument.kind
            if what == words.THERMOMETER:
                said = "is a thermometer: it shows no gravity"
            else:
                said = f"is on Setup as {show(what)}, which is no kind of instrument"
            yield _at(reading.cell, "no-gravity", SEVERE, f"{reading.instrument.name} {said}")
        if reading.batch is None:
            what = "names no batch" if is_blank(batch.value) else f"{show(batch.value)} is not on "
            what += "" if is_blank(batch.value) else words.BATCHES
            yield _at(batch, "unknown-batch", WARNING, f"{what}: no plan, no verdict")
        if reading.stage not in words.STAGES:
            what = "no stage" if is_blank(stage.value) else f"{show(stage.value)} is no stage"
            yield _at(stage, "unknown-stage", WARNING, f"{what}: choose one of the list")
    for some, what in ((record.instruments, "instrument"), (record.batches, "batch")):
        seen_names: set[str] = set()
        for one in some:
            if plain(one.name) in seen_names:
                yield _at(one.cell, "name-twice", SEVERE, f"{what} {one.name} stands here twice")
            seen_names.add(plain(one.name))


def dates(seen: Seen) -> Iterator[Finding]:
    """Dates that are missing, or in the future."""
    for reading in seen.record.readings:
        cell = reading.row["date"]
        if reading.when is None:
            what = "no date" if is_blank(cell.value) else "no date that can be read"
            yield _at(cell, "no-date", WARNING, f"{what}: no calibration is applied")
        elif reading.when >= seen.today + 1:
            yield _at(cell, "future", WARNING, f"the reading is dated ahead: {day(reading.when)}")
    for check in seen.record.checks:
        if check.when >= seen.today + 1:
            yield _at(check.cell, "future", WARNING, f"the check is dated ahead: {day(check.when)}")


def order(whole: Year) -> Iterator[Finding]:
    """Dates out of order within a batch, in a file and from a file to a later one.

    A file is later when the middle half of its dates is; files that run side by side have no order.
    """
    reached: dict[Brew, list[tuple[float, float]]] = {}  # when a file ended, how far the batch was
    for (begins, ends), record in sorted(_spans(whole), key=lambda one: one[0]):
        latest: dict[Brew | None, float] = {}
        for reading in record.readings:
            if reading.when is None:
                continue
            cell, brew = reading.row["date"], reading.brew
            # Several batches may be under way; of one, the lines follow each other.
            if brew not in latest:
                earlier = reached.get(brew, []) if brew else []
                far = (moment for end, moment in earlier if end <= begins)
                latest[brew] = max(far, default=reading.when)
            before = latest[brew]
            if reading.when < before and not is_blank(cell.value):
                yield _at(
                    cell, "order", NOTE,
                    f"{day(reading.when)} stands after {day(before)}: was a date mistyped?",
                )  # fmt: skip
            else:
                latest[brew] = max(before, reading.when)
        for brew, moment in latest.items():
            if brew:
                reached.setdefault(brew, []).append((ends, moment))


def _spans(whole: Year) -> Iterator[tuple[tuple[float, float], Record]]:
    """The files with dates, and when the middle half of these begins and ends."""
    for record in whole.records:
        some = sorted(r.when for r in record.readings if r.when is not None)
        if some:
            yield (some[len(some) // 4], some[3 * len(some) // 4]), record


def joins(whole: Year) -> Iterator[Finding]:
    """What is taken for one instrument, or one reading, and what is not."""
    for piece in whole.pieces:
        for line, named in year.renamed(piece):
            yield _at(
                line.cell, "renamed", NOTE,
                f"{line.name} has the mark {line.identity or named.identity}, as {named.name} has "
                f"{_where(named.cell, line.cell)}: one instrument under two names",
            )  # fmt: skip
    for line, known in year.apart(whole):
        yield _at(
            line.cell, "two-instruments", WARNING,
            f"{_described(line)} here, {_described(known)} {_where(known.cell, line.cell)}: two "
            "instruments, with checks of their own; if it is one, give it one mark and one kind",
        )  # fmt: skip
    for record in whole.records:
        for cell, first in record.repeated:
            yield _at(
                cell, "same-reading", NOTE,
                f"the same reading stands {_where(first, cell)}: it counts there",
            )  # fmt: skip
    breweries = list(whole.breweries.values())
    if len(breweries) > 1:
        for record in whole.records:
            if plain(record.brewery) != plain(breweries[0]):
                yield Finding(
                    "other-brewery", WARNING, words.SETUP, "",
                    f"{show(record.brewery) if record.brewery else 'no brewery'} here, "
                    f"{show(breweries[0])} in other files: nothing is joined with those",
                    (), record.file,
                )  # fmt: skip


def _described(line: Instrument) -> str:
    return f"{line.name} is a {line.kind} " + (
        f"with the mark {line.identity}" if line.identity else "without a mark"
    )


def _where(cell: Cell, seen_from: Cell) -> str:
    """A place as a sentence names it: with its file where that is another."""
    place = f"in {cell.sheet} {cell.address}"
    return place if cell.file == seen_from.file else f"{place} of {cell.file}"


def bad_checks(seen: Seen) -> Iterator[Finding]:
    """Checks that give no calibration."""
    for cell, _, reason in seen.record.refused.useless:
        yield _at(cell, "check-unusable", SEVERE, reason)


def two_checks(piece: Piece) -> Iterator[Finding]:
    """Two checks of one day whose order nobody wrote down."""
    for one, other in itertools.pairwise(piece.checks):
        if one.order == other.order:
            yield _at(
                other.cell, "two-checks", NOTE,
                f"two checks of {other.tool.name} on {day(one.when)}: this one counts; give "
                "the time, or say which was as found and which as left",
            )  # fmt: skip
        elif one.when == int(other.when) and one.as_left >= other.as_left:
            yield _at(
                one.cell, "two-checks", NOTE,
                f"{one.tool.name} was checked again on {day(other.when)}: this check has no "
                "time and counts as the first of its day; give the time",
            )  # fmt: skip


def traced(seen: Seen) -> Iterator[Finding]:
    """No check before the reading, or one that was overdue."""
    for reading in seen.record.readings:
        tool, check = reading.instrument, reading.check
        if tool is None or reading.when is None:
            continue
        if check is None:
            yield _at(
                reading.cell, "no-check", SEVERE,
                f"no check of {tool.name} before {day(reading.when)}",
            )  # fmt: skip
        elif reading.when - check.when > tool.interval:
            yield _at(
                reading.cell, "check-overdue", WARNING,
                f"{tool.name} was last checked on {day(check.when)}, "
                f"{reading.when - check.when:.0f} days before; due every {tool.interval:g}",
            )  # fmt: skip


def tolerances(piece: Piece) -> Iterator[Finding]:
    """Found outside tolerance: what that puts in doubt, and whether anybody set it right."""
    good: Check | None = None
    for place, check in enumerate(piece.checks):
        tool = check.tool
        if check.tolerated:
            good = check
        elif check.as_left:
            yield _at(
                check.cell, "left-outside", WARNING,
                f"{tool.name} was left at {check.offset:+.4g}, tolerated is ±{tool.tolerance:g}",
            )  # fmt: skip
        else:
            yield _outside(piece, check, good)
            yield from _left_alone(piece, place)


def _outside(piece: Piece, check: Check, good: Check | None) -> Finding:
    tool, doubts = check.tool, _doubts(piece, check, good)
    batches = list(dict.fromkeys(doubt.batch or "without a name" for doubt in doubts))
    last = f"since the good check of {day(good.when)}" if good else "with no good check before it"
    if doubts:
        most = max((doubt.corrected_sg - doubt.recorded_sg for doubt in doubts), key=abs)
        touched = (
            f"{last} it read {len(doubts)} time{'s' * (len(doubts) > 1)}, in batches "
            f"{', '.join(batches)}; with this check the gravities move by up to {most:+.4f}"
        )
    else:
        touched = f"{last} no reading was taken with it"
    return _at(
        check.cell, "outside-tolerance", SEVERE if doubts else WARNING,
        f"{tool.name} was found at {check.offset:+.4g} on {day(check.when)}, tolerated is "
        f"±{tool.tolerance:g}; {touched}",
        *doubts,
    )  # fmt: skip


def _doubts(piece: Piece, check: Check, good: Check | None) -> list[Doubt]:
    """The readings since the good check, with the gravity that the bad one would have given."""
    first = _place(piece, good.when if good else 0.0)
    doubtful = [r for r in piece.readings[first : _place(piece, check.when)]
                if r.check is not check and isinstance(r.sg, float)]  # fmt: skip
    by_file: dict[Record, list[Reading]] = {}
    for reading in doubtful:
        by_file.setdefault(reading.record, []).append(reading)
    corrected: dict[Reading, Any] = {}
    for record, some in by_file.items():
        sg, *_ = gravities.gravities(some, [check] * len(some), record.settings)
        corrected |= zip(some, sg, strict=True)
    return [
        Doubt(
            name(reading.row.value("batch")),
            reading.cell.sheet,
            reading.cell.address,
            day(reading.when or 0.0),
            round(reading.sg, 5),
            round(corrected[reading], 5),
            reading.record.file,
        )
        for reading in doubtful
        if isinstance(reading.sg, float) and isinstance(corrected[reading], float)
    ]


def _place(piece: Piece, when: float) -> int:
    """How many of its readings are before a moment."""
    return bisect.bisect_left(piece.readings, when, key=lambda reading: reading.when or 0.0)


def _left_alone(piece: Piece, place: int) -> Iterator[Finding]:
    """Outside, and used again without a check as left."""
    check = piece.checks[place]
    following = piece.checks[place + 1 :]
    left = next((later.when for later in following if later.as_left), None)
    later = piece.readings[_place(piece, int(check.when) + 1) :][:1]
    used = later[0].when if later else None
    if left is None or (used is not None and int(left) > used):
        then = f"; it was used again on {day(used)}" if used is not None else ""
        yield _at(
            check.cell, "as-left-missing", WARNING,
            f"{check.tool.name} was outside tolerance and no check as left follows{then}",
        )  # fmt: skip


def ranges(seen: Seen) -> Iterator[Finding]:
    """Readings that give no gravity, or lie outside the range of their instrument."""
    for reading in seen.record.readings:
        tool = reading.instrument
        if tool is None or is_blank(reading.shown):
            continue
        shown = read_number(reading.shown)
        if (tool.low is not None and shown < tool.low) or (
            tool.high is not None and shown > tool.high
        ):
            yield _at(
                reading.cell, "outside-range", SEVERE,
                f"{shown:g} is outside the range of {tool.name}, "
                f"{tool.low if tool.low is not None else ''} to "
                f"{tool.high if tool.high is not None else ''}",
            )  # fmt: skip
        elif isinstance(reading.sg, str):
            yield _at(reading.cell, "no-gravity", SEVERE, reading.sg.removeprefix("! "))


def temperatures(seen: Seen) -> Iterator[Finding]:
    """The sample's temperature: missing, outside the compensated range, or hot."""
    for reading in seen.record.readings:
        tool, celsius = reading.instrument, reading.celsius
        if tool is None or not (tool.refracts or tool.in_jar):
            continue
        if celsius is None:
            if not (tool.refracts and tool.compensated):
                assumed = "20 °C was assumed" if tool.refracts else "it gives no gravity"
                yield _at(
                    reading.cell, "temperature-missing", WARNING,
                    f"{tool.name} does not compensate and the sample's temperature is missing: "
                    f"{assumed}",
                )  # fmt: skip
            continue
        if not isinstance(celsius, float):
            continue
        low = COMPENSATES[0] if tool.compensates_from is None else tool.compensates_from
        high = COMPENSATES[1] if tool.compensates_to is None else tool.compensates_to
        if tool.refracts and tool.compensated and not low <= celsius <= high:
            yield _at(
                reading.cell, "not-compensated", WARNING,
                f"sample at {celsius:.1f} °C; {tool.name} compensates from {low:g} to {high:g} °C",
            )  # fmt: skip
        elif tool.in_jar and celsius > HOT:
            yield _at(
                reading.cell, "read-hot", WARNING,
                f"hydrometer read at {celsius:.1f} °C: cool the sample below {HOT:g} °C",
            )  # fmt: skip


def alcohol(seen: Seen) -> Iterator[Finding]:
    """A refractometer after pitching: what its gravity rests on."""
    for reading in seen.record.readings:
        if not reading.through_beer:
            continue
        if reading.original is None:
            yield _at(
                reading.cell, "original-missing", WARNING,
                "a refractometer gives no gravity of beer without the original gravity: log what "
                f"went “{words.INTO_FERMENTER}”, or plan it",
            )  # fmt: skip
        elif reading.start is None:
            yield _at(
                reading.cell, "original-planned", NOTE,
                "the original gravity is that of the plan: none was measured",
            )  # fmt: skip


def sense(seen: Seen) -> Iterator[Finding]:
    """Figures that cannot be: another scale, more extract than grain."""
    record = seen.record
    early = (words.MASH, words.FIRST_RUNNINGS, *words.STAGES[words.stage(words.BEFORE_BOIL) - 1 :])
    kettle = words.STAGES[words.stage(words.BEFORE_BOIL) - 1 : words.stage(words.INTO_FERMENTER)]
    for reading in record.readings:
        tool, shown = reading.instrument, reading.shown
        if tool and isinstance(shown, float):
            if tool.scale == "Brix" and 0.98 < shown < 1.2 and reading.stage in early:
                yield _at(
                    reading.cell, "scale", SEVERE,
                    f"{shown:g} reads like SG, but {tool.name} shows °Brix",
                )  # fmt: skip
            elif tool.scale == "SG" and shown > 1.3:
                yield _at(
                    reading.cell, "scale", SEVERE,
                    f"{shown:g} reads like °Brix, but {tool.name} shows SG",
                )  # fmt: skip
        if reading.batch and reading.stage in kettle and isinstance(reading.sg, float):
            litres = _litres(record, reading)
            if litres is not None and reading.batch.extract > 0:
                kilograms = litres * float(gravity.convert(reading.sg, "SG", "Extract")) / 1000
                if kilograms > reading.batch.extract:
                    share = 100 * kilograms / reading.batch.extract
                    yield _at(
                        reading.cell, "too-much-extract", SEVERE,
                        f"with its volume it holds {share:.0f} % of the extract of the grain",
                    )  # fmt: skip


def rising(brew: Brew) -> Iterator[Finding]:
    """A gravity that rises while it ferments."""
    for before, after in itertools.pairwise(brew.of_stage(words.FERMENTING)):
        one, other = before.sg, after.sg
        assert isinstance(one, float)
        assert isinstance(other, float)
        if other - one > 2 * (after.u or 0) + 0.001:
            yield _at(
                after.cell, "rises", WARNING,
                f"gravity rises during fermentation, from {show_sg(round(one, 4))} "
                f"to {show_sg(round(other, 4))}",
            )  # fmt: skip


def _litres(record: Record, reading: Reading) -> float | None:
    """Volume of a line, or that of its plan."""
    planned = reading.batch.volume.get(reading.stage) if reading.batch else None
    volume = number(reading.volume, number(planned, math.nan))
    litres = record.settings.litres
    return None if litres is None or math.isnan(volume) else volume * litres


def scattered(seen: Seen) -> Iterator[Finding]:
    """One of several readings of a wort that lies far from the others."""
    for reading in seen.record.readings:
        if reading.far:
            yield _at(
                reading.cell, "far", WARNING,
                f"one of {reading.mean_of} readings within half an hour, and far from the others: "
                "it counts in their mean until it is corrected",
            )  # fmt: skip


def disagreements(brew: Brew) -> Iterator[Finding]:
    """Refractometer and hydrometer on the same wort, further apart than both are uncertain."""
    stages: dict[str, list[Reading]] = {}
    for reading in sorted(brew.readings, key=lambda r: (r.record.place, r.row.number)):
        if reading.when is not None and isinstance(reading.sg, float) and not reading.fermented:
            stages.setdefault(reading.stage, []).append(reading)
    for group in stages.values():
        drops = sorted((r for r in group if r.instrument and r.instrument.refracts),
                       key=lambda reading: reading.order)  # fmt: skip
        for jar in (r for r in group if r.instrument and r.instrument.floats):
            for drop in _beside(jar, drops):
                one, other = float(jar.sg or 0.0), float(drop.sg or 0.0)
                joint = conformity.COVERAGE * ((jar.u or 0) ** 2 + (drop.u or 0) ** 2) ** 0.5
                if abs(one - other) > joint:
                    file = "" if drop.record is jar.record else f" of {drop.record.file}"
                    yield _at(
                        jar.cell, "disagree", WARNING,
                        f"hydrometer {show_sg(round(one, 4))} and refractometer "
                        f"{show_sg(round(other, 4))} (cell {drop.cell.address}{file}) differ by "
                        f"{abs(one - other):.4f}, more than their joint ±{joint:.4f}",
                    )  # fmt: skip


def _beside(jar: Reading, drops: list[Reading]) -> list[Reading]:
    """The drops of the same wort, within six hours; of very many those of its own file."""
    when = jar.when or 0.0
    first = bisect.bisect_left(drops, when - defaults.PAIR_DAYS, key=lambda r: r.when or 0.0)
    last = bisect.bisect_right(drops, when + defaults.PAIR_DAYS, key=lambda r: r.when or 0.0)
    some = drops[first:last]
    if len(some) > _BESIDE:
        own = [drop for drop in some if drop.record is jar.record]
        return own or sorted(some, key=lambda r: abs((r.when or 0.0) - when))[:_BESIDE]
    return some


def recomputed(seen: Seen) -> Iterator[Finding]:
    """Stored gravities and verdicts that differ from what the file's entries give today."""
    some = [r for r in seen.record.readings if isinstance(r.by_its_file.sg, float)]
    stored = [r for r in some if isinstance(r.row.value("sg"), float)]
    if some and not stored:
        cell = some[0].row.table.cell("sg", 0)
        yield _at(cell, "not-computed", NOTE, "the file holds no computed gravities: compute it")
        return
    for reading in stored:
        before, now = reading.row.value("sg"), reading.by_its_file.sg
        if isinstance(now, float) and abs(now - before) > SAME_SG:
            yield _at(
                reading.cell, "gravity-changed", WARNING,
                f"the file shows {before:.4f}, its entries give {now:.4f}",
            )  # fmt: skip
    for reading in seen.record.readings:
        _, verdict, of_volume = reading.by_its_file
        for key, found in (("verdict", verdict), ("volume_verdict", of_volume)):
            if reading.row.number in seen.record.lost[key]:
                continue
            shown = reading.row.value(key) or ""
            if isinstance(shown, str) and not is_passed_on(shown) and shown != found:
                if is_passed_on(found):
                    continue
                yield _at(
                    reading.row[key], "verdict-changed", SEVERE,
                    f"the file says {shown or 'nothing'}, its entries give {found or 'nothing'}",
                )  # fmt: skip


ENTRY_RULES: tuple[Callable[[Typed], Iterator[Finding]], ...] = (
    entries_that_are_no_values,
    below,
    settings,
)
RULES: tuple[Rule, ...] = (
    names,
    dates,
    bad_checks,
    traced,
    ranges,
    temperatures,
    alcohol,
    sense,
    scattered,
    recomputed,
)
INSTRUMENT_RULES: tuple[Callable[[Piece], Iterator[Finding]], ...] = (two_checks, tolerances)
BATCH_RULES: tuple[Callable[[Brew], Iterator[Finding]], ...] = (rising, disagreements)
YEAR_RULES: tuple[Callable[[Year], Iterator[Finding]], ...] = (order, joins)

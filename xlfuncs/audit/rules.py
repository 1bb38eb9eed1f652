"""The rules of the audit: each looks at the whole record and yields what it finds.

`RULES` is the list of them; docs/audit.md explains the codes.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from xlfuncs.audit import record as records
from xlfuncs.audit.entries import Cell, Entries
from xlfuncs.audit.findings import NOTE, SEVERE, WARNING, Doubt, Finding, Severity
from xlfuncs.audit.record import Reading, Record
from xlfuncs.audit.setup import Check, Instrument
from xlfuncs.audit.typed import day, initial, is_number, number, plain, read_number
from xlfuncs.cells.values import is_blank, is_passed_on, show, show_sg
from xlfuncs.science import conformity, gravity
from xlfuncs.workbook import defaults, words

#: A compensated refractometer without limits of its own; common practice.
COMPENSATES = (10.0, 30.0)
#: A hydrometer above this is read hot, °C: the correction is then large; common practice.
HOT = 40.0
#: Stored and computed gravities that print alike.
SAME_SG = 5e-5
#: What makes a spreadsheet take a text for a formula.
_LIKE_FORMULA = re.compile(r"[=+\-@]\S")


@dataclass(frozen=True)
class Seen:
    """What a rule looks at: the record, and the day of the audit."""

    record: Record
    today: float

    def readings_of(self, instrument: Instrument) -> list[Reading]:
        """Dated readings of one instrument, in the order of time."""
        own = [r for r in self.record.readings if r.instrument is instrument and r.when is not None]
        return sorted(own, key=lambda reading: reading.when or 0.0)


Rule = Callable[[Seen], Iterator[Finding]]


def _at(cell: Cell, code: str, severity: Severity, reason: str, *doubts: Doubt) -> Finding:
    return Finding(code, severity, cell.sheet, cell.address, reason, doubts)


def entries_that_are_no_values(seen: Seen) -> Iterator[Finding]:
    """A formula where a value belongs; a text that looks like a formula."""
    for name in records.TYPED:
        for cell in seen.record.entries.column(name):
            if cell.formula:
                yield _at(
                    cell, "formula", WARNING,
                    "a formula stands where a value belongs; its stored value was taken: type the "
                    "value, so that the record cannot change by itself",
                )  # fmt: skip
            elif isinstance(cell.value, str) and _LIKE_FORMULA.match(cell.value):
                yield _at(cell, "text-like-formula", NOTE, "begins like a formula; kept as text")


def below(seen: Seen) -> Iterator[Finding]:
    """Lines that stand below the frame of their table: nothing reads them."""
    for name in records.BELOW:
        cell = next((c for c in seen.record.entries.column(name) if not is_blank(c.value)), None)
        if cell:
            yield _at(
                cell, "below-frame", SEVERE,
                "stands below the last line of its table, where nothing is read: go on in "
                "a workbook with more lines (xlfuncs new --rows)",
            )  # fmt: skip


def settings(seen: Seen) -> Iterator[Finding]:
    """Units that are none, and texts where only a number counts: what a blank means counts."""
    book, taken = seen.record.entries, seen.record.settings
    units = (
        ("set_volume", taken.litres is not None, "no extract is reckoned"),
        ("set_temperature", _begins(book, "set_temperature", "CF"), f"°{taken.temperature} counts"),
        ("set_gravity", _begins(book, "set_gravity", "SP"), f"{taken.gravity} counts"),
        ("set_mass", _begins(book, "set_mass", "KL"), f"{taken.mass} counts"),
    )
    for name, known, instead in units:
        cell = book.single(name)
        if not known and not is_blank(cell.value):
            yield _at(cell, "unit", SEVERE, f"{show(cell.value)} is no unit, {instead}")
    for name in records.NUMBERS:
        for cell in book.column(name):
            if not is_blank(cell.value) and not is_number(cell.value):
                yield _at(
                    cell, "no-number", WARNING,
                    f"{show(cell.value)} is no number here: it may count as blank",
                )  # fmt: skip


def _begins(book: Entries, name: str, letters: str) -> bool:
    return initial(book.cell(name)) in tuple(letters)


def names(seen: Seen) -> Iterator[Finding]:
    """Instruments and batches that are not on their sheets, or stand there twice; stages."""
    record = seen.record
    renamed = "is not on Setup: was it renamed? Give every line the same name"
    for cell in record.refused.unknown:
        yield _at(cell, "unknown-instrument", SEVERE, f"{show(cell.value)} {renamed}")
    for reading in record.readings:
        tool, batch, stage = reading.row["instrument"], reading.row["batch"], reading.row["stage"]
        if reading.instrument is None and not is_blank(reading.shown):
            told = show(tool.value) if not is_blank(tool.value) else "the instrument"
            yield _at(tool, "unknown-instrument", SEVERE, f"{told} {renamed}")
        elif reading.instrument and not (reading.instrument.refracts or reading.instrument.floats):
            what = reading.instrument.kind
            what = "is a thermometer" if what == words.THERMOMETER else f"is no instrument ({what})"
            yield _at(
                reading.cell, "no-gravity", SEVERE,
                f"{reading.instrument.name} {what}: it shows no gravity",
            )  # fmt: skip
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
    """Dates that are missing, in the future, or out of order."""
    latest: dict[str, float] = {}
    for reading in seen.record.readings:
        cell = reading.row["date"]
        if reading.when is None:
            what = "no date" if is_blank(cell.value) else "no date that can be read"
            yield _at(cell, "no-date", WARNING, f"{what}: no calibration is applied")
            continue
        if reading.when >= seen.today + 1:
            yield _at(cell, "future", WARNING, f"the reading is dated ahead: {day(reading.when)}")
        # Several batches may be under way; of one, the lines follow each other.
        batch = reading.batch.name if reading.batch else ""
        before = latest.setdefault(batch, reading.when)
        if reading.when < before and not is_blank(cell.value):
            yield _at(
                cell, "order", NOTE,
                f"{day(reading.when)} stands after {day(before)}: was a date mistyped?",
            )  # fmt: skip
        else:
            latest[batch] = max(before, reading.when)
    for instrument in seen.record.instruments:
        for check in instrument.checks:
            if check.when >= seen.today + 1:
                yield _at(
                    check.cell, "future", WARNING, f"the check is dated ahead: {day(check.when)}"
                )


def bad_checks(seen: Seen) -> Iterator[Finding]:
    """Checks that give no calibration, and two of one day whose order nobody wrote down."""
    for cell, reason in seen.record.refused.useless:
        yield _at(cell, "check-unusable", SEVERE, reason)
    for instrument in seen.record.instruments:
        for one, other in zip(instrument.checks, instrument.checks[1:], strict=False):
            if one.order == other.order:
                yield _at(
                    other.cell, "two-checks", NOTE,
                    f"two checks of {instrument.name} on {day(one.when)}: this one counts; give "
                    "the time, or say which was as found and which as left",
                )  # fmt: skip
            elif one.when == int(other.when) and one.as_left >= other.as_left:
                yield _at(
                    one.cell, "two-checks", NOTE,
                    f"{instrument.name} was checked again on {day(other.when)}: this check has no "
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


def tolerances(seen: Seen) -> Iterator[Finding]:
    """Found outside tolerance: what that puts in doubt, and whether anybody set it right."""
    for instrument in seen.record.instruments:
        good: Check | None = None
        for place, check in enumerate(instrument.checks):
            if instrument.tolerates(check):
                good = check
            elif check.as_left:
                yield _at(
                    check.cell, "left-outside", WARNING,
                    f"{instrument.name} was left at {check.offset:+.4g}, tolerated is "
                    f"±{instrument.tolerance:g}",
                )  # fmt: skip
            else:
                yield _outside(seen, instrument, check, good)
                yield from _left_alone(seen, instrument, place)


def _outside(seen: Seen, instrument: Instrument, check: Check, good: Check | None) -> Finding:
    since = good.when if good else 0.0
    doubtful = [
        r
        for r in seen.readings_of(instrument)
        if since <= (r.when or 0.0) < check.when
        and r.check is not check
        and isinstance(r.sg, float)
    ]
    corrected, *_ = records.gravities(doubtful, seen.record, [check] * len(doubtful))
    doubts = [
        Doubt(
            r.batch.name if r.batch else "",
            r.cell.sheet,
            r.cell.address,
            day(r.when or 0.0),
            round(r.sg, 5),
            round(sg, 5),
        )
        for r, sg in zip(doubtful, corrected, strict=True)
        if isinstance(r.sg, float) and isinstance(sg, float)
    ]
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
        f"{instrument.name} was found at {check.offset:+.4g} on {day(check.when)}, tolerated is "
        f"±{instrument.tolerance:g}; {touched}",
        *doubts,
    )  # fmt: skip


def _left_alone(seen: Seen, instrument: Instrument, place: int) -> Iterator[Finding]:
    """Outside, and used again without a check as left."""
    check = instrument.checks[place]
    following = instrument.checks[place + 1 :]
    left = next((later.when for later in following if later.as_left), None)
    used = next(
        (r for r in seen.readings_of(instrument) if (r.when or 0.0) >= int(check.when) + 1), None
    )
    if left is None or (used and used.when is not None and int(left) > used.when):
        then = f"; it was used again on {day(used.when)}" if used and used.when else ""
        yield _at(
            check.cell, "as-left-missing", WARNING,
            f"{instrument.name} was outside tolerance and no check as left follows{then}",
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
        elif reading.batch and not seen.record.of_stage(reading.batch, words.INTO_FERMENTER):
            yield _at(
                reading.cell, "original-planned", NOTE,
                "the original gravity is that of the plan: none was measured",
            )  # fmt: skip


def sense(seen: Seen) -> Iterator[Finding]:
    """Figures that cannot be: another scale, more extract than grain, a gravity that rises."""
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
    for batch in record.batches:
        beers = record.of_stage(batch, words.FERMENTING)
        for before, after in itertools.pairwise(beers):
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


def disagreements(seen: Seen) -> Iterator[Finding]:
    """Refractometer and hydrometer on the same wort, further apart than both are uncertain."""
    groups: dict[tuple[str, str], list[Reading]] = {}
    for reading in seen.record.readings:
        dated = reading.when is not None and isinstance(reading.sg, float)
        if dated and reading.batch and not reading.fermented:
            groups.setdefault((reading.batch.name, reading.stage), []).append(reading)
    for group in groups.values():
        drops = [r for r in group if r.instrument and r.instrument.refracts]
        jars = [r for r in group if r.instrument and r.instrument.floats]
        for jar, drop in itertools.product(jars, drops):
            if abs((jar.when or 0.0) - (drop.when or 0.0)) > defaults.PAIR_DAYS:
                continue
            one, other = float(jar.sg or 0.0), float(drop.sg or 0.0)
            joint = conformity.COVERAGE * ((jar.u or 0) ** 2 + (drop.u or 0) ** 2) ** 0.5
            if abs(one - other) > joint:
                yield _at(
                    jar.cell, "disagree", WARNING,
                    f"hydrometer {show_sg(round(one, 4))} and refractometer "
                    f"{show_sg(round(other, 4))} (cell {drop.cell.address}) differ by "
                    f"{abs(one - other):.4f}, more than their joint ±{joint:.4f}",
                )  # fmt: skip


def recomputed(seen: Seen) -> Iterator[Finding]:
    """Stored gravities and verdicts that differ from what the entries give today."""
    record = seen.record
    some = [r for r in record.readings if isinstance(r.sg, float)]
    stored = [r for r in some if isinstance(r.row["sg"].value, float)]
    if some and not stored:
        cell = record.entries.column("log_sg")[0]
        yield _at(cell, "not-computed", NOTE, "the file holds no computed gravities: compute it")
        return
    for reading in stored:
        before = reading.row["sg"].value
        if abs(float(reading.sg or 0) - before) > SAME_SG:
            yield _at(
                reading.cell, "gravity-changed", WARNING,
                f"the file shows {before:.4f}, its entries give {reading.sg:.4f}",
            )  # fmt: skip
    for reading in record.readings:
        for what, found in (("", reading.verdict), ("volume_", reading.volume_verdict)):
            cell = reading.row[f"{what}verdict"]
            if cell.lost:
                continue
            shown = cell.value or ""
            if isinstance(shown, str) and not is_passed_on(shown) and shown != found:
                if is_passed_on(found):
                    continue
                yield _at(
                    cell, "verdict-changed", SEVERE,
                    f"the file says {shown or 'nothing'}, its entries give {found or 'nothing'}",
                )  # fmt: skip


RULES: tuple[Rule, ...] = (
    entries_that_are_no_values,
    below,
    settings,
    names,
    dates,
    bad_checks,
    traced,
    tolerances,
    ranges,
    temperatures,
    alcohol,
    sense,
    scattered,
    disagreements,
    recomputed,
)

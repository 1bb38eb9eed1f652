"""The rules of the audit: each looks at the whole record and yields what it finds.

`RULES` is the list of them; docs/audit.md explains the codes.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from xlfuncs.audit import record as records
from xlfuncs.audit.entries import Cell
from xlfuncs.audit.findings import NOTE, SEVERE, WARNING, Doubt, Finding, Severity
from xlfuncs.audit.record import Check, Instrument, Reading, Record, day
from xlfuncs.cells.values import is_blank, is_passed_on, show, show_sg
from xlfuncs.science import conformity, gravity
from xlfuncs.workbook import vocabulary as words

#: A compensated refractometer without limits of its own; common practice.
COMPENSATES = (10.0, 30.0)
#: A hydrometer above this is read hot, °C: the correction is then large; common practice.
HOT = 40.0
#: Refractometer and hydrometer within these days are readings of the same wort.
TOGETHER = 2 / 24
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


def names(seen: Seen) -> Iterator[Finding]:
    """Instruments that Setup does not name, or names twice, or that are of the wrong kind."""
    known = [instrument.name for instrument in seen.record.instruments]
    renamed = "is not on Setup: was it renamed? Give every line the same name"
    for cell in seen.record.unknown_checks:
        yield _at(cell, "unknown-instrument", SEVERE, f"{show(cell.value)} {renamed}")
    # The readings of the runoff share one cell.
    for reading in {r.instrument_cell: r for r in seen.record.readings}.values():
        cell, tool = reading.instrument_cell, reading.instrument
        if is_blank(cell.value):
            yield _at(cell, "no-instrument", WARNING, "the reading names no instrument")
        elif tool is None:
            yield _at(cell, "unknown-instrument", SEVERE, f"{show(cell.value)} {renamed}")
        elif reading.misplaced:
            yield _at(
                cell, "no-gravity", SEVERE,
                f"{tool.name} is not a {reading.takes}: what it shows here gives no gravity",
            )  # fmt: skip
    for place, instrument in enumerate(seen.record.instruments):
        if instrument.name.casefold() in (name.casefold() for name in known[:place]):
            yield _at(instrument.cell, "name-twice", SEVERE, f"{instrument.name} stands here twice")


def dates(seen: Seen) -> Iterator[Finding]:
    """Dates that are missing, in the future, or out of order."""
    latest: dict[tuple[str, str], float] = {}
    # Two readings of a pair share one date, and so do all of the runoff.
    for reading in {r.date: r for r in seen.record.readings}.values():
        if reading.when is None:
            what = "no date" if is_blank(reading.date.value) else "no date that can be read"
            yield _at(reading.date, "no-date", WARNING, f"{what}: no calibration is applied")
            continue
        if reading.when >= seen.today + 1:
            yield _at(
                reading.date, "future", WARNING, f"the reading is dated ahead: {day(reading.when)}"
            )
        # Fermentation may hold one batch after the other.
        series = (reading.table, reading.batch if reading.table == "ferment" else "")
        before = latest.setdefault(series, reading.when)
        if reading.when < before:
            yield _at(
                reading.date, "order", NOTE,
                f"{day(reading.when)} stands after {day(before)}: was a date mistyped?",
            )  # fmt: skip
        else:
            latest[series] = reading.when
    for instrument in seen.record.instruments:
        for check in instrument.checks:
            if check.when >= seen.today + 1:
                yield _at(
                    check.cell, "future", WARNING, f"the check is dated ahead: {day(check.when)}"
                )


def bad_checks(seen: Seen) -> Iterator[Finding]:
    """Checks that give no calibration, and two of one day whose order nobody wrote down."""
    for cell, reason in seen.record.bad_checks:
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
        if instrument.checks and instrument.tolerance <= 0:
            yield _at(
                instrument.cell, "no-tolerance", WARNING,
                f"{instrument.name} has no tolerance on Setup: none of its checks can be judged",
            )  # fmt: skip
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
    corrected, _ = records.gravities(doubtful, seen.record, [check] * len(doubtful))
    doubts = [
        Doubt(
            r.batch, r.cell.sheet, r.cell.address, day(r.when or 0.0), round(r.sg, 5), round(sg, 5)
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
        if tool is None or reading.misplaced:
            continue
        shown = records.number(reading.shown, float("nan"))
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
        if tool is None or reading.misplaced or not (tool.refracts or tool.of_glass):
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
        elif tool.of_glass and celsius > HOT:
            yield _at(
                reading.cell, "read-hot", WARNING,
                f"hydrometer read at {celsius:.1f} °C: cool the sample below {HOT:g} °C",
            )  # fmt: skip


def alcohol(seen: Seen) -> Iterator[Finding]:
    """A refractometer after pitching, without the correction for alcohol or what it needs."""
    for reading in seen.record.readings:
        if not (reading.instrument and reading.instrument.refracts) or reading.misplaced:
            continue
        if reading.fermented:
            taken = isinstance(reading.stored_sg, (int, float))
            yield _at(
                reading.cell, "alcohol", SEVERE if taken else WARNING,
                "a refractometer after pitching is no gravity without the correction for alcohol"
                + ("; the log shows one" if taken else "; the log shows none"),
            )  # fmt: skip
        elif reading.beer and reading.beer.original is None and reading.sg is None:
            or_log = (
                f", or log what went “{words.INTO_FERMENTER}” under its batch"
                if reading.table == "ferment"
                else ""
            )
            yield _at(
                reading.cell, "original-missing", WARNING,
                "a refractometer gives no gravity of beer without the original gravity: type it"
                + or_log,
            )  # fmt: skip


def disagreements(seen: Seen) -> Iterator[Finding]:
    """Refractometer and hydrometer on the same wort, further apart than both are uncertain."""
    groups: dict[tuple[str, str], list[Reading]] = {}
    for reading in seen.record.readings:
        # The runoff falls from one reading to the next: it has no second gravity to agree with.
        if (
            reading.table == "log"
            and reading.batch
            and not reading.fermented
            and isinstance(reading.sg, float)
        ):
            groups.setdefault((reading.batch, reading.stage), []).append(reading)
    for group in groups.values():
        refracted = [r for r in group if r.instrument and r.instrument.refracts]
        for floated in (r for r in group if r.instrument and r.instrument.floats):
            for other in refracted:
                if None in (floated.when, other.when):
                    continue
                apart = abs((floated.when or 0.0) - (other.when or 0.0))
                sg, other_sg = floated.sg, other.sg
                if apart > TOGETHER or not isinstance(sg, float) or not isinstance(other_sg, float):
                    continue
                joint = conformity.COVERAGE * ((floated.u or 0) ** 2 + (other.u or 0) ** 2) ** 0.5
                if abs(sg - other_sg) > joint:
                    yield _at(
                        floated.cell, "disagree", WARNING,
                        f"hydrometer {show_sg(round(sg, 4))} and refractometer "
                        f"{show_sg(round(other_sg, 4))} (cell {other.cell.address}) differ by "
                        f"{abs(sg - other_sg):.4f}, more than their joint ±{joint:.4f}",
                    )  # fmt: skip


def recomputed(seen: Seen) -> Iterator[Finding]:
    """Stored gravities and verdicts that differ from what the entries give today."""
    record = seen.record
    stored = [r for r in record.readings if isinstance(r.stored_sg, (int, float))]
    if record.readings and not stored and any(isinstance(r.sg, float) for r in record.readings):
        cell = record.entries.column("log_sg")[0]
        yield _at(cell, "not-computed", NOTE, "the file holds no computed gravities: compute it")
        return
    for reading in stored:
        if isinstance(reading.sg, float) and abs(reading.sg - reading.stored_sg) > SAME_SG:
            yield _at(
                reading.cell, "gravity-changed", WARNING,
                f"the file shows {reading.stored_sg:.4f}, its entries give {reading.sg:.4f}",
            )  # fmt: skip
    for name, verdicts in (
        ("verdict_gravity", _verdicts(record, "gravity", _gravity_measured)),
        ("verdict_volume", _verdicts(record, "volume", _volume_measured)),
    ):
        for cell, found in zip(record.entries.column(name), verdicts, strict=False):
            shown = cell.value or ""
            if isinstance(shown, str) and not is_passed_on(shown) and shown != found:
                yield _at(
                    cell, "verdict-changed", SEVERE,
                    f"the file says {shown or 'nothing'}, its entries give {found or 'nothing'}",
                )  # fmt: skip


def _verdicts(
    record: Record, what: str, measured: Callable[[Record, str, str], tuple[float, float] | None]
) -> list[str]:
    """The verdict on each target of the batch that the file shows."""
    batch = str(record.entries.cell("shown_batch") or "").strip()
    verdicts = []
    for row in record.entries.rows("target", ("stage", what, f"{what}_tolerance")):
        target = records.number(row[what].value, float("nan"))
        tolerance = records.number(row[f"{what}_tolerance"].value, float("nan"))
        found = measured(record, batch, str(row["stage"].value or ""))
        if found is None or target != target or tolerance != tolerance:
            verdicts.append("")
            continue
        value, u = found
        verdicts.append(conformity.verdict(value, target, tolerance, u).item())
    return verdicts


def _gravity_measured(record: Record, batch: str, stage: str) -> tuple[float, float] | None:
    """The latest gravity in the scale of the targets, and its standard uncertainty."""
    own = [
        r
        for r in record.readings
        if r.table == "log" and r.stage == stage and r.batch == batch and isinstance(r.sg, float)
    ]
    if not own:
        return None
    last = records.latest(own)
    sg, u = float(last.sg or 0.0), last.u or 0.0
    measured = float(gravity.convert(sg, "SG", record.scale))
    return measured, float(gravity.convert(sg + u, "SG", record.scale)) - measured


def _volume_measured(record: Record, batch: str, stage: str) -> tuple[float, float] | None:
    """The latest volume at 20 °C, and its standard uncertainty."""
    volume = record.volumes.get((batch, stage))
    share = records.number(record.entries.cell("u_volume"), 0.01)
    return None if volume is None else (volume, share * volume)


RULES: tuple[Rule, ...] = (
    entries_that_are_no_values,
    names,
    dates,
    bad_checks,
    traced,
    tolerances,
    ranges,
    temperatures,
    alcohol,
    disagreements,
    recomputed,
)

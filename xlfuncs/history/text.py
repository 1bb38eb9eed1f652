"""The history as text for a terminal of a hundred columns."""

from __future__ import annotations

from xlfuncs import terminal
from xlfuncs.audit.typed import day
from xlfuncs.functions.gravity import GRAVITY_CONVERT
from xlfuncs.history.batches import Brewed, Measured
from xlfuncs.history.instruments import Moved, known
from xlfuncs.history.run import Factors, History


def show(history: History) -> None:
    """Print batches, stages, instruments and own factors."""
    unit = "°Plato" if history.plato else "SG"
    terminal.table(
        f"Batches: {len(history.batches)} (gravities in {unit}; p: of the plan)",
        ("brew day", "batch", "original", "last", "att. %", "% vol", "efficiency %", "on target",
         "not on target"),
        [_batch(one, history.plato) for one in history.batches],
        folding=("batch", "not on target"),
    )  # fmt: skip
    terminal.table(
        "Gravity by stage",
        ("stage", "on target", "low", "high", "too close to call", "mean miss, SG"),
        [
            (one.stage, one.on_target, one.low, one.high, one.close,
             "" if one.miss is None else f"{one.miss:+.4f}")
            for one in history.stages
        ],
    )  # fmt: skip
    terminal.table(
        "Instruments: correction as found, ± about 95 %",
        ("instrument", "last check", "correction", "drift in 30 days", "outside", "readings"),
        [_instrument(one) for one in history.instruments],
        folding=("instrument",),
    )
    if any(one.joined_by for one in history.instruments):
        terminal.say("Lines of several files are one instrument by its mark, or else its name.\n")
    terminal.table(
        "Own factors, as each workbook has them stored",
        ("workbook", "until", "wort factor", "wort factor of beer", "alcohol factor", "in use"),
        [_factors(one) for one in history.factors],
        folding=("workbook",),
    )
    also = f"; {history.repeated} stand in two of them and count once" if history.repeated else ""
    readings = sum(one.readings for one in history.batches)
    terminal.say(
        f"workbooks: {len(history.files)}, batches: {len(history.batches)}, "
        f"readings: {readings}{also}"
    )


def _batch(one: Brewed, plato: bool) -> tuple[object, ...]:
    verdicts = one.verdicts
    missed: dict[str, list[str]] = {}
    for stage, verdict in verdicts.items():
        if not verdict.endswith("on target"):
            missed.setdefault(verdict, []).append(stage)
    hits = len(verdicts) - sum(map(len, missed.values()))
    return (
        _day(one.day),
        one.name,
        _gravity(one.original, plato) + (" p" if one.original_planned else ""),
        _gravity(one.last, plato),
        _number(one.attenuation),
        _number(one.alcohol),
        _with(one.efficiency, 1),
        f"{hits} of {len(verdicts)}" if verdicts else "",
        "; ".join(f"{verdict}: {', '.join(stages)}" for verdict, stages in missed.items()),
    )


def _instrument(one: Moved) -> tuple[object, ...]:
    digits = 4 if one.unit == "SG" else 2
    last = one.checks[-1] if one.checks else None
    return (
        known(one),
        _day(last.when if last else None),
        f"{_with(last.offset, digits)} {one.unit}" if last else "",
        _with(one.drift, digits),
        f"{one.outside} of {len(one.checks) - one.adjusted}" if one.checks else "not checked",
        one.readings,
    )


def _factors(one: Factors) -> tuple[object, ...]:
    return (
        one.file,
        _day(one.until),
        _with(one.wort, 3),
        _with(one.beer, 3),
        "" if one.alcohol is None else f"{one.alcohol:.3f}",
        f"{one.used:.3f}",
    )


def _day(serial: float | None) -> str:
    return "" if serial is None else day(int(serial))


def _gravity(found: Measured | None, plato: bool) -> str:
    if found is None:
        return ""
    if plato:
        return f"{GRAVITY_CONVERT(found.value, 'SG', 'Plato'):.2f}"
    return f"{found.value:.4f}"


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.1f}"


def _with(found: Measured | None, digits: int) -> str:
    if found is None:
        return ""
    pm = "" if found.expanded is None else f" ± {found.expanded:.{digits}f}"
    return f"{found.value:.{digits}f}{pm}"

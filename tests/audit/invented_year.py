"""A year of an invented brewery as data: 60 batches, 660 readings; in one workbook, or in several.

Whatever is typed carries its own number in its note, so that a finding in one workbook can be found
again in another.  The year has its mishaps: a refractometer that drifted from spring to August, a
floater that nobody checked before February, a slip, a gravity that rises over the end of a month, a
date that was mistyped, a batch whose wort nobody read.
"""

from __future__ import annotations

import datetime
import functools
import random
from collections.abc import Iterable, Mapping
from typing import Any

from tests.helpers import entered_into
from xlfuncs.workbook import build, words
from xlfuncs.workbook.words import Choices

TODAY = datetime.date(2026, 2, 1)
BREWERY = "Three Ponds brewhouse (invented)"

FIELD = {"name": "field", "identity": "R-1", "kind": "refractometer", "compensated": "no",
         "fine": 0.1, "tolerated": 0.2, "interval": 90}  # fmt: skip
BENCH = FIELD | {"name": "bench", "identity": "R-2", "compensated": "yes", "interval": 200}
GLASS = {"name": "glass", "identity": "H-1", "kind": "hydrometer", "scale": "SG", "reference": 20,
         "fine": 0.0005, "tolerated": 0.001, "interval": 365}  # fmt: skip
FLOATER = {"name": "floater", "identity": "F-1", "kind": "floating hydrometer", "scale": "SG",
           "tolerated": 0.002, "interval": 400}  # fmt: skip
INSTRUMENTS = (FIELD, BENCH, GLASS, FLOATER)

Row = Mapping[str, Any]


def checks() -> list[Row]:
    """Few, and none from September on."""
    rows: list[Row] = []
    for tool, month, day, found, left in (
        (FIELD, 1, 2, 0.0, None), (BENCH, 1, 2, 0.0, None), (GLASS, 1, 2, 0.0, None),
        (FLOATER, 2, 10, 0.0005, None), (FIELD, 3, 20, 0.1, None), (BENCH, 7, 1, -0.1, None),
        (FIELD, 8, 9, 0.5, 0.0),
    ):  # fmt: skip
        zero = 1.0 if tool in (GLASS, FLOATER) else 0.0
        for offset, as_ in ((found, None), (left, words.AS_LEFT)):
            if offset is not None:
                rows.append({"instrument": tool["name"], "as": as_, "temperature": 20,
                             "date": datetime.datetime(2025, month, day), "who": "Ada",
                             "shown_1": zero + offset, "note": f"check {len(rows)}"})  # fmt: skip
    return rows


def batches() -> list[Row]:
    """Sixty brew days from January to December."""
    rng = random.Random(60)
    rows: list[Row] = []
    for number in range(60):
        day = datetime.datetime(2025, 1, 3) + datetime.timedelta(int(number * 5.7))
        original = round(rng.uniform(1.040, 1.062), 3)
        rows.append({
            "name": f"{number + 1} {rng.choice(['pale', 'amber', 'stout', 'wheat'])}", "date": day,
            "grain": 6, "before_boil_gravity": round(original - 0.008, 3),
            "into_fermenter_gravity": original, "into_fermenter_volume": 22.0,
            "packaged_gravity": 1.011,
        })  # fmt: skip
    return rows


def log() -> list[Row]:
    """Eleven readings of each batch, in the order in which they were typed."""
    rng = random.Random(660)
    rows: list[dict[str, Any]] = []
    for number, batch in enumerate(batches()):
        original = (batch["into_fermenter_gravity"] - 1) * 1000 / 3.98  # °Brix, roughly
        moment = batch["date"] + datetime.timedelta(hours=9)
        for days, minutes, stage, tool, shown in (
            (0, 0, words.FIRST_RUNNINGS, FIELD, original * 1.4),
            (0, 90, words.BEFORE_BOIL, FIELD, original * 0.84),
            (0, 100, words.BEFORE_BOIL, FIELD, original * 0.84),
            (0, 200, words.AFTER_BOIL, FIELD, original * 0.99),
            (0, 260, words.INTO_FERMENTER, BENCH, original),
            (0, 265, words.INTO_FERMENTER, GLASS, batch["into_fermenter_gravity"]),
            (2, 0, words.FERMENTING, BENCH, original * 0.75),
            (5, 0, words.FERMENTING, BENCH, original * 0.58),
            (5, 10, words.FERMENTING, FLOATER, 1.016),
            (9, 0, words.FERMENTING, BENCH, original * 0.50),
            (14, 0, words.PACKAGED, GLASS, 1.011),
        ):  # fmt: skip
            spread, digits = (0.0004, 4) if shown < 2 else (0.05, 2)
            rows.append({
                "date": moment + datetime.timedelta(days, minutes=minutes), "batch": batch["name"],
                "stage": stage, "instrument": tool["name"], "temperature": rng.choice([18, 20, 23]),
                "reading": round(shown + rng.gauss(0, spread), digits),
                "volume": 22.0 if stage == words.INTO_FERMENTER else None,
                "batch_no": number,
            })  # fmt: skip
    rows.sort(key=lambda row: row["date"])
    _mishaps(rows)
    for number, row in enumerate(rows):
        row["note"] = f"reading {number}"
        del row["batch_no"]
    return list(rows)


def _mishaps(rows: list[dict[str, Any]]) -> None:
    def of(batch: int, stage: str) -> list[dict[str, Any]]:
        return [row for row in rows if row["batch_no"] == batch and row["stage"] == stage]

    of(7, words.BEFORE_BOIL)[1]["reading"] += 2.0  # a slip
    of(13, words.INTO_FERMENTER)[1]["reading"] += 0.008  # hydrometer and refractometer disagree
    for row in of(20, words.INTO_FERMENTER):
        row["stage"] = words.AFTER_BOIL  # no original was measured
    over = next(  # rises from a month to the next
        n for n in range(30, 60)
        if (some := of(n, words.FERMENTING))[0]["date"].month != some[-1]["date"].month
    )  # fmt: skip
    of(over, words.FERMENTING)[-1]["reading"] += 4.0
    mistyped = of(33, words.PACKAGED)[0]
    mistyped["date"] = mistyped["date"].replace(year=2024)
    of(41, words.FIRST_RUNNINGS)[0]["batch"] = "who knows"
    of(50, words.AFTER_BOIL)[0]["temperature"] = None


def in_months(rows: Iterable[Row]) -> list[list[Row]]:
    """Twelve parts, each with the lines typed in its month; a mistyped date moves no line."""
    parts: list[list[Row]] = [[] for _ in range(12)]
    month = 0
    for row in rows:
        if row["date"].year == 2025:
            month = max(month, row["date"].month - 1)
        parts[month].append(row)
    return parts


@functools.cache
def _blank(choices: Choices) -> tuple[bytes, Any]:
    return build.to_bytes(build.build(choices)), build.layout(choices).names


def workbook(
    choices: Choices, cells: Mapping[str, Any] | None = None, **tables: Iterable[Row]
) -> bytes:
    """A workbook with named cells and tables by prefix filled in."""
    data, names = _blank(choices)
    typed = {}
    for name, value in (cells or {}).items():
        typed[names[name].sheet, names[name].cells] = value
    for prefix, rows in tables.items():
        for number, row in enumerate(rows):
            for key, value in row.items():
                area = names[f"{prefix}_{key}"]
                if value is not None:
                    assert number < area.rows
                    typed[area.sheet, area.cell(number).replace("$", "")] = value
    return entered_into(data, typed)


ONE, MONTH = Choices(rows=700, checks=60), Choices(rows=100, checks=60)


def as_one(**more: Any) -> bytes:
    """The whole year in one workbook."""
    return workbook(ONE, {"brewery": BREWERY}, inst=INSTRUMENTS, check=checks(), batch=batches(),
                    log=log(), **more)  # fmt: skip


def as_twelve(**more: Any) -> list[bytes]:
    """A workbook for each month, with its own readings and checks, and the batches of these."""
    books = []
    typed = [
        [check for check in checks() if check["date"].month == month] for month in range(1, 13)
    ]
    for lines, found in zip(in_months(log()), typed, strict=True):
        named = {line["batch"] for line in lines}
        plans = [batch for batch in batches() if batch["name"] in named]
        books.append(workbook(MONTH, {"brewery": BREWERY}, inst=INSTRUMENTS, check=found,
                              batch=plans, log=lines, **more))  # fmt: skip
    return books

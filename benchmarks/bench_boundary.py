"""What the boundary adds to the arithmetic, per cell of a column and per call of one cell."""

from collections.abc import Callable, Iterator

import numpy as np

from benchmarks.measuring import Measure, in_new_python, seconds
from xlfuncs.functions import CATALOGUE

ROWS = 10_000
CALLS = 1_000


def measures() -> Iterator[Measure]:
    call, body = CATALOGUE["WORT_SG"].callable(), CATALOGUE["WORT_SG"].body
    brix = np.linspace(1, 20, ROWS)
    column = [[cell] for cell in brix.tolist()]
    log = [[cell] if row % 3 else [None] for row, (cell,) in enumerate(column)]

    full, patchy, bare = seconds(lambda: call(column), lambda: call(log), lambda: body(brix, 1.04))
    yield Measure("boundary, column of 10,000", (full - bare) / ROWS * 1e6, 1, "µs per cell")
    yield Measure(
        "boundary, the same with a third blank", (patchy - bare) / ROWS * 1e6, 1, "µs per cell"
    )

    def repeated(one: Callable[..., object], cells: tuple[object, ...]) -> Callable[[], object]:
        return lambda: [one(*cells) for _ in range(CALLS)]

    for name, cells in (("WORT_SG", (12.4, 1.04)), ("UNIT_CONVERT", (5.0, "US gal", "L"))):
        function = CATALOGUE[name]
        full, bare = seconds(repeated(function.callable(), cells), repeated(function.body, cells))
        yield Measure(
            f"boundary, {name} of one cell", (full - bare) / CALLS * 1e6, 20, "µs per call"
        )

    baseline, ours = seconds(
        in_new_python("import numpy, xlwings"), in_new_python("import xlfuncs.udfs"), runs=9
    )
    yield Measure("import xlfuncs.udfs", ours / baseline, 1.25, "× import numpy, xlwings")

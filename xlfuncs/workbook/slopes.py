"""How a gravity moves with what it comes from, as polynomials: in cells and in the audit alike.

docs/science.md has them in the plain operators of a sheet, and tests hold them to the same by
science.  They serve what readings share; a gravity's own ± comes from the cell functions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Slope:
    """A sum of products: b true °Brix, p °Plato of the original, x original SG - 1."""

    terms: tuple[tuple[float, str], ...]

    def formula(self, **cells: str) -> str:
        """The sum as cells compute it."""
        products = ("*".join((f"{factor:.10f}".rstrip("0"), *map(cells.get, letters)))  # type: ignore[arg-type]
                    for factor, letters in self.terms)  # fmt: skip
        return f"({'+'.join(products)})".replace("+-", "-")

    def __call__(self, **numbers: float) -> float:
        """The sum of numbers."""
        return sum(factor * math.prod(numbers[letter] for letter in letters)
                   for factor, letters in self.terms)  # fmt: skip


#: SG of wort for a °Plato more; p is here that of the wort itself.
WORT_BY_PLATO = Slope(((0.003845, ""), (0.0000308, "p")))
#: SG of beer by refractometer for an original SG more, a °Brix more, a wort factor 1 more.
BEER_BY_ORIGINAL = Slope(((-0.5218, ""), (-1.006, "x"), (0.003, "b")))
BEER_BY_BRIX = Slope(((0.00563, ""), (0.0028, "x"), (0.0000352, "b")))
BEER_BY_FACTOR = Slope(((-0.00697, "b"), (-0.0000622, "bb"), (0.0000211, "bp"), (0.00153, "p")))

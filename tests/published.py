"""Published values in `tests/tables`, and the one way in which a test holds a model to them."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

TABLES = Path(__file__).parent / "tables"
HOW = {"found", "library", "memory", "computed", "common practice"}


class Table:
    """Rows of one CSV file; a column is an array of numbers, or of texts where it holds texts."""

    def __init__(self, name: str) -> None:
        lines = (TABLES / f"{name}.csv").read_text(encoding="utf-8").splitlines()
        self.name = name
        self.rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))

    def __getitem__(self, column: str) -> np.ndarray:
        texts = [row[column] for row in self.rows]
        try:
            return np.array(texts, dtype=float)
        except ValueError:
            return np.array(texts)

    def hold(self, residuals, tolerance="tolerance") -> None:
        """Every residual is within the row's tolerance; else say which is worst, by how much."""
        residuals = np.abs(residuals)
        assert residuals.shape == (len(self.rows),)
        shares = residuals / self[tolerance]
        worst = int(np.argmax(np.where(np.isnan(shares), np.inf, shares)))
        assert shares[worst] <= 1, (
            f"{self.name}: worst residual {residuals[worst]:.3g} in row {self.rows[worst]}"
        )

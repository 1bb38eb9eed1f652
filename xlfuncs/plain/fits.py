"""Polynomials that stand in for a function over a range, with the largest error measured."""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from xlfuncs.science.arrays import Array

Range = tuple[float, float]
_HIGHEST_DEGREE = 9
# Nodes for one variable, and points of the grid, set off from them, on which the error is measured.
_NODES, _GRID = 24, 61


@dataclass(frozen=True)
class Fit:
    """A polynomial in one variable or more, and how far from the function it lies at most."""

    terms: Mapping[tuple[int, ...], float]  # powers of each variable -> coefficient
    error: float

    def __call__(self, *values: Any) -> Any:
        """Its value, by Horner's rule in one variable after the other."""
        return _horner(self.terms, values)


def fit(function: Callable[..., Any], tolerance: float, *ranges: Range) -> Fit:
    """The polynomial of lowest total degree that lies within the tolerance all over the ranges.

    >>> found = fit(np.exp, 1e-3, (-1, 1))
    >>> round(found(0.5), 3), found.error < 1e-3
    (1.648, True)
    """
    nodes = np.cos((np.arange(_NODES) + 0.5) * np.pi / _NODES)
    units, targets = _sampled(function, ranges, nodes)
    checks, wanted = _sampled(function, ranges, np.linspace(-1, 1, _GRID))
    values = [_scaled(unit, limits) for unit, limits in zip(checks, ranges, strict=True)]
    for degree in range(1, _HIGHEST_DEGREE + 1):
        powers = [
            power
            for power in itertools.product(range(degree + 1), repeat=len(ranges))
            if sum(power) <= degree
        ]
        matrix = np.stack([_product(units, power) for power in powers], axis=1)
        solved = np.linalg.lstsq(matrix, targets, rcond=None)[0]
        terms = _unscaled(dict(zip(powers, solved.tolist(), strict=True)), ranges)
        terms = _shortened(terms, ranges, tolerance / 10)
        error = float(np.max(np.abs(_horner(terms, values) - wanted)))
        if error <= tolerance:
            return Fit(terms, error)
    raise ValueError(f"no polynomial to degree {_HIGHEST_DEGREE} lies within {tolerance}")


def _sampled(
    function: Callable[..., Any], ranges: tuple[Range, ...], nodes: Array
) -> tuple[list[Array], Array]:
    units = [grid.ravel() for grid in np.meshgrid(*[nodes] * len(ranges), indexing="ij")]
    values = [_scaled(unit, limits) for unit, limits in zip(units, ranges, strict=True)]
    return units, np.asarray(function(*values))


def _scaled(unit: Array, limits: Range) -> Array:
    low, high = limits
    return (low + high) / 2 + unit * (high - low) / 2


def _product(values: list[Array], powers: tuple[int, ...]) -> Any:
    return functools.reduce(
        lambda product, pair: product * pair[0] ** pair[1],
        zip(values, powers, strict=True),
        np.ones_like(values[0]),
    )


def _unscaled(
    terms: Mapping[tuple[int, ...], float], ranges: tuple[Range, ...]
) -> dict[tuple[int, ...], float]:
    """The same polynomial, of the variables themselves rather than of -1 to 1."""
    found: dict[tuple[int, ...], float] = {}
    for powers, coefficient in terms.items():
        expanded = []
        for power, (low, high) in zip(powers, ranges, strict=True):
            half, centre = (high - low) / 2, (low + high) / 2
            expanded.append(
                [math.comb(power, k) * (-centre) ** (power - k) / half**power
                 for k in range(power + 1)]
            )  # fmt: skip
        for lower in itertools.product(*(range(power + 1) for power in powers)):
            share = math.prod(row[k] for row, k in zip(expanded, lower, strict=True))
            found[lower] = found.get(lower, 0.0) + coefficient * share
    return found


def _shortened(
    terms: Mapping[tuple[int, ...], float], ranges: tuple[Range, ...], tolerance: float
) -> dict[tuple[int, ...], float]:
    """Coefficients with no more digits than the tolerance asks for; those without any left out."""
    found = {}
    for powers, coefficient in terms.items():
        reach = math.prod(
            max(map(abs, limits)) ** power for limits, power in zip(ranges, powers, strict=True)
        )
        step = tolerance / len(terms) / reach
        rounded = round(coefficient, -math.floor(math.log10(step)))
        if rounded:
            found[powers] = rounded
    return found


def _horner(terms: Mapping[tuple[int, ...], float], values: Any) -> Any:
    if not values:
        return terms.get((), 0.0)
    by_power: dict[int, dict[tuple[int, ...], float]] = {}
    for (power, *rest), coefficient in terms.items():
        by_power.setdefault(power, {})[tuple(rest)] = coefficient
    x, *others = values
    result: Any = 0.0
    for power in range(max(by_power, default=0), -1, -1):
        result = result * x + _horner(by_power.get(power, {}), others)
    return result

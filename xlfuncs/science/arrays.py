"""The little numerics that the models share: polynomials and inverses, on numbers or arrays."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
#: A number, or an array of numbers; functions answer with what they were given.
Real = float | Array


def polynomial(coefficients: Sequence[float], x: Real) -> Real:
    """Value of Σ coefficients[i]·xⁱ (Horner), without temporaries on arrays.

    >>> polynomial((1.0, 0.0, 2.0), 3.0)
    19.0
    """
    result = coefficients[-1] * x + coefficients[-2]
    if isinstance(result, np.ndarray):
        for coefficient in coefficients[-3::-1]:
            result *= x
            result += coefficient
        return result
    for coefficient in coefficients[-3::-1]:
        result = result * x + coefficient
    return result


def derivative(coefficients: Sequence[float]) -> tuple[float, ...]:
    """Coefficients of the derivative of the polynomial.

    >>> derivative((1.0, 0.0, 2.0))
    (0.0, 4.0)
    """
    return tuple(power * value for power, value in enumerate(coefficients))[1:]


def newton(
    function: Callable[[Real], Real],
    slope: Callable[[Real], Real],
    target: Real,
    start: Real,
    steps: int,
) -> Real:
    """Solve function(x) = target by a fixed number of Newton steps, all elements at once.

    The number of steps is fixed by the caller, who knows how good the start is; a test holds the
    residual over the whole range.

    - `function`: from the unknown to the unit of `target`
    - `slope`: its derivative
    - `target`: value that it is to take
    - `start`: first guess at the unknown
    - `steps`: how many are taken

    >>> round(newton(lambda x: x * x, lambda x: 2 * x, 2.0, 1.4, 3), 12)
    1.414213562373
    """
    x = start
    for _ in range(steps):
        x = x - (function(x) - target) / slope(x)
    return x


# How far apart the first two points of a secant are.
_NUDGE = 1e-3


def secant(function: Callable[[Real], Real], target: Real, start: Real, steps: int) -> Real:
    """Solve function(x) = target by a fixed number of secant steps, all elements at once.

    Once an element has converged its two points coincide and it stays where it is.

    - `function`: from the unknown to the unit of `target`
    - `target`: value that it is to take
    - `start`: first guess at the unknown
    - `steps`: how many are taken

    >>> round(secant(lambda x: x * x, 2.0, 1.4, 4), 12)
    1.414213562373
    """
    first, second = start, start + _NUDGE
    residual_first = function(first) - target
    for _ in range(steps):
        residual_second = function(second) - target
        rise = residual_second - residual_first
        step = (second - first) / np.where(rise == 0, 1.0, rise)
        first, residual_first = second, residual_second
        second = second - residual_second * step
    return second if isinstance(second, np.ndarray) and second.ndim else float(second)


#: Elements worked on at once: the temporaries of a model then stay in the processor's cache.
_BLOCK = 8192


def in_blocks(function: Callable[..., tuple[Real, ...]], *values: Real) -> tuple[Real, ...]:
    """Answers of an elementwise function on broadcast values, long arrays taken block by block.

    A model of many steps is two to three times as fast so on a million elements.

    >>> in_blocks(lambda a, b: (a + b, a * b), 2.0, 3.0)
    (5.0, 6.0)
    """
    shape = np.broadcast_shapes(*(np.shape(value) for value in values))
    size = math.prod(shape)
    if size <= _BLOCK:
        return function(*values)
    flat = [np.broadcast_to(value, shape).ravel() if np.ndim(value) else value for value in values]
    parts = [
        function(
            *(
                value[start : start + _BLOCK] if isinstance(value, np.ndarray) else value
                for value in flat
            )
        )
        for start in range(0, size, _BLOCK)
    ]
    return tuple(np.concatenate(column).reshape(shape) for column in zip(*parts, strict=True))


def first_true(cases: Sequence[tuple[Any, str]], otherwise: str) -> NDArray[np.object_]:
    """Per element, the word of the first case that holds: `numpy.select`, word beside condition.

    >>> first_true([(np.array([True, False]), "yes")], "no").tolist()
    ['yes', 'no']
    """
    conditions, words = zip(*cases, strict=True)
    return np.asarray(np.select(conditions, words, otherwise), dtype=object)

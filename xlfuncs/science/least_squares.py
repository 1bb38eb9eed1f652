"""Least squares to the end: answers that hang on the readings, and on no last bit of a library."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from xlfuncs.science.arrays import Array

_MOST_STEPS = 50
_MOST_HALVINGS = 10
#: For the curvature, in units of each parameter's scale.
_NUDGE = 1e-4
#: As far as rounding lets two sums of squares be told apart.
_NOT_MORE = 1 + 1e-12
#: A step below this, in units of each parameter's scale, is the last.
_SETTLED = 1e-9


@np.errstate(over="ignore", invalid="ignore")  # a step too far is halved
def settle(
    residuals: Callable[[Array], Array],
    slopes: Callable[[Array], Array],
    start: Array,
    scale: Array,
) -> Array:
    """Parameters of the least sum of squared residuals, by damped Newton steps from near by.

    The answer is where the gradient slopesᵀ·residuals is 0, so `slopes` must be exact: by small
    differences they carry the rounding of the residuals, a hundred thousand times enlarged, into
    the answer.  The curvature only leads there and may be rough.  A step that does not lower the
    sum is halved; the end is judged by the size of a step, since near its least value the sum
    cannot tell one place from another: libraries that go by it stop up to 1e-3 of `scale` away.
    NaN if it does not end.

    - `residuals`: of the parameters, in the unit of what is fitted
    - `slopes`: their derivatives, a column for each parameter
    - `start`: parameters near the answer, each in its own unit
    - `scale`: size of each parameter, in its unit

    >>> x = np.array([0.0, 1.0, 2.0])
    >>> found = settle(
    ...     lambda p: np.exp(-p[0] * x) - [1.0, 0.5, 0.25],
    ...     lambda p: (-x * np.exp(-p[0] * x))[:, np.newaxis],
    ...     np.array([0.5]),
    ...     np.array([1.0]),
    ... )
    >>> bool(abs(found[0] - np.log(2)) < 1e-15)
    True
    """

    # Steps and slopes in units of `scale`, so that parameters of any size count alike.
    def gradient(at: Array) -> Array:
        return np.asarray(slopes(at).T @ residuals(at)) * scale

    def curvature(at: Array) -> Array:
        nudges = np.diag(_NUDGE * scale)
        rises = [gradient(at + nudge) - gradient(at - nudge) for nudge in nudges]
        exact = np.column_stack(rises) / (2 * _NUDGE)
        if np.isfinite(exact).all() and np.all(np.linalg.eigvalsh(exact) > 0):
            return exact
        # Far from the least sum it may bend the other way; then as if the model were linear.
        jacobian = slopes(at) * scale
        return jacobian.T @ jacobian

    at, found = start, residuals(start)
    for _ in range(_MOST_STEPS):
        matrix, fall = curvature(at), -gradient(at)
        if not np.isfinite(np.append(matrix, fall)).all():
            break
        step = np.linalg.lstsq(matrix, fall, rcond=None)[0]
        last = np.max(np.abs(step)) < _SETTLED
        tried = residuals(at + step * scale)
        for _ in range(_MOST_HALVINGS):
            if last or tried @ tried <= found @ found * _NOT_MORE:
                break
            step = step / 2
            tried = residuals(at + step * scale)
        at, found = at + step * scale, tried
        if last:
            return at
    return np.full_like(at, np.nan)

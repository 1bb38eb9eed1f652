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
def settle(model: Callable[[Array], tuple[Array, Array]], start: Array, scale: Array) -> Array:
    """Parameters of the least sum of squared residuals, by damped Newton steps from near by.

    The answer is where the gradient slopesᵀ·residuals is 0, so the slopes must be exact: by small
    differences they carry the rounding of the residuals, a hundred thousand times enlarged, into
    the answer.  The curvature only leads there and may be rough.  A step that does not lower the
    sum is halved; the end is judged by the size of a step, since near its least value the sum
    cannot tell one place from another: libraries that go by it stop up to 1e-3 of `scale` away.
    NaN if it does not end.

    - `model`: of the parameters, the residuals in the unit of what is fitted, and the slopes, which
      are their derivatives, a column for each parameter
    - `start`: parameters near the answer, each in its own unit
    - `scale`: size of each parameter, in its unit

    >>> x = np.array([0.0, 1.0, 2.0])
    >>> def fall(p):
    ...     left = np.exp(-p[0] * x)
    ...     return left - [1.0, 0.5, 0.25], (-x * left)[:, np.newaxis]
    >>> found = settle(fall, np.array([0.5]), np.array([1.0]))
    >>> bool(abs(found[0] - np.log(2)) < 1e-15)
    True
    """

    # Steps and slopes in units of `scale`, so that parameters of any size count alike.
    def gradient(residuals: Array, slopes: Array) -> Array:
        return np.asarray(slopes.T @ residuals) * scale

    def curvature(at: Array, slopes: Array) -> Array:
        rises = [gradient(*model(at + nudge)) - gradient(*model(at - nudge)) for nudge in nudges]
        exact = np.column_stack(rises) / (2 * _NUDGE)
        if np.isfinite(exact).all() and np.all(np.linalg.eigvalsh(exact) > 0):
            return exact
        # Far from the least sum it may bend the other way; then as if the model were linear.
        jacobian = slopes * scale
        return jacobian.T @ jacobian

    nudges = np.diag(_NUDGE * scale)
    at, (found, slopes) = start, model(start)
    for _ in range(_MOST_STEPS):
        matrix, fall = curvature(at, slopes), -gradient(found, slopes)
        if not np.isfinite(np.append(matrix, fall)).all():
            break
        step = np.linalg.lstsq(matrix, fall, rcond=None)[0]
        last = np.max(np.abs(step)) < _SETTLED
        tried, there = model(at + step * scale)
        for _ in range(_MOST_HALVINGS):
            if last or tried @ tried <= found @ found * _NOT_MORE:
                break
            step = step / 2
            tried, there = model(at + step * scale)
        at, found, slopes = at + step * scale, tried, there
        if last:
            return at
    return np.full_like(at, np.nan)

import math

import numpy as np
import pytest

from tests.published import Table
from xlfuncs.science.uncertainty import standard_uncertainty

IMPEDANCE = (
    (4.9990, 19.661e-3, 1.04446),
    (3.2e-3, 9.5e-6, 7.5e-4),
    {(0, 1): -0.36, (0, 2): 0.86, (1, 2): -0.65},
)


def _rectangular(low, high):
    return (high - low) / math.sqrt(12)


def _mass(reference, added, air, weights, reference_density):
    return (reference + added) * (1 + (air - 1.2) * (1 / weights - 1 / reference_density)) - 100_000


def _square(u, *values):
    return (lambda a, b: 1e6 * (a**2 + b**2), values, (u, u))


def _end_gauge(standard, difference, expansion, expansion_excess, temperature, warmth_excess):
    return (
        standard
        + difference
        - standard * (expansion_excess * temperature + expansion * warmth_excess)
    )


#: Example -> model, values, standard uncertainties, correlations.
EXAMPLES = {
    "H.1": (
        _end_gauge,
        (50_000_623.0, 215.0, 11.5e-6, 0.0, -0.1, 0.0),
        (25.0, 9.7, 1.2e-6, 0.58e-6, 0.41, 0.029),
    ),
    "H.2 R": (lambda v, i, phase: v / i * np.cos(phase), *IMPEDANCE),
    "H.2 X": (lambda v, i, phase: v / i * np.sin(phase), *IMPEDANCE),
    "H.2 Z": (lambda v, i, phase: v / i, *IMPEDANCE),
    "9.2.2": (lambda *x: sum(x), (0.0,) * 4, (1.0,) * 4),
    "9.2.4": (lambda *x: sum(x), (0.0,) * 4, (1.0, 1.0, 1.0, 10.0)),
    "9.3": (
        _mass,
        (100_000.0, 1.234, 1.2, 8000.0, 8000.0),
        (0.05, 0.02, _rectangular(1.1, 1.3), _rectangular(7000, 9000), _rectangular(7950, 8050)),
    ),
    "9.4 a": _square(0.005, 0.0, 0.0),
    "9.4 b": _square(0.005, 0.010, 0.0),
    "9.4 c": _square(0.005, 0.050, 0.0),
    "E13": (
        lambda l0, t0, l1, t1: (l1 - l0) / (l0 * (t1 - t0)),
        (1.4999, 288.15, 1.5021, 373.10),
        (1e-4, 0.02, 2e-4, 0.05),
    ),
    "NPL 9.2": (np.log, (0.6,), (_rectangular(0.1, 1.1),)),
    "XRF": (
        lambda a, b, y: a / b * y,
        (0.1820, 0.1823, 0.6978),
        (0.00093, 0.00058, 0.0026),
    ),
}


def test_published_examples():
    table = Table("gum_examples")
    assert set(table["example"]) == EXAMPLES.keys()
    cases = [EXAMPLES[name] for name in table["example"]]
    table.hold([case[0](*case[1]) for case in cases] - table["value"], "value_tolerance")
    table.hold([standard_uncertainty(*case) for case in cases] - table["u"], "u_tolerance")


def test_full_correlation_adds_or_cancels():
    def u(sign, correlation):
        return standard_uncertainty(
            lambda a, b: a + sign * b, (1.0, 1.0), (0.3, 0.3), {(0, 1): correlation}
        )

    assert u(1, 1.0) == pytest.approx(0.6)
    assert u(-1, 1.0) == pytest.approx(0, abs=1e-9)


def test_columns_at_once():
    u = standard_uncertainty(
        lambda a, b: a * b, (np.array([3.0, 1.0]), 2.0), (0.1, np.array([0.2, 0.0]))
    )
    assert u == pytest.approx([math.hypot(0.2, 0.6), 0.2])


def test_an_input_without_uncertainty_adds_nothing():
    assert standard_uncertainty(lambda a, b: a * b, (3.0, 2.0), (0.0, 0.0)) == 0.0

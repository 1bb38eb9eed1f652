import numpy as np
import pytest

from xlfuncs.science import conformity


@pytest.mark.parametrize(
    ("measured", "u", "expected"),
    [
        # without uncertainty: the limits belong to the target
        (1.050, 0, "on target"),
        (1.052, 0, "on target"),
        (1.048, 0, "on target"),
        (1.0521, 0, "high"),
        (1.0479, 0, "low"),
        # JCGM 106, 8.3: acceptance interval narrower by U = 2u on each side
        (1.051, 0.0005, "on target"),  # 1.050 to 1.052: touches the limit from within
        (1.0511, 0.0005, "too close to call"),
        (1.049, 0.0005, "on target"),
        (1.0489, 0.0005, "too close to call"),
        (1.052, 0.0005, "too close to call"),
        # rejected only when the whole interval is outside
        (1.053, 0.0005, "too close to call"),  # 1.052 to 1.054: touches from without
        (1.0531, 0.0005, "high"),
        (1.047, 0.0005, "too close to call"),
        (1.0469, 0.0005, "low"),
        # U larger than the tolerance: nothing can be accepted
        (1.050, 0.0011, "too close to call"),
        (1.060, 0.0011, "high"),
    ],
)
def test_guarded_rule_by_hand(measured, u, expected):
    assert conformity.verdict(measured, 1.050, 0.002, u).item() == expected


@pytest.mark.parametrize(
    ("target", "tolerance"), [(1.050, 0.002), (20.0, 0.3), (0.3, 0.1), (65.5, 0.7), (1e6, 0.1)]
)
def test_a_value_exactly_on_a_limit_is_on_target(target, tolerance):
    verdicts = conformity.verdict(
        np.array([target - tolerance, target + tolerance]), target, tolerance
    )
    assert verdicts.tolist() == ["on target", "on target"]


def test_probability_of_a_wrong_acceptance_is_at_most_the_guard_bands():
    """With U = 2u, an accepted value is truly outside in at most 2.3 % (JCGM 106, 8.3.2.2)."""
    rng = np.random.default_rng(1)
    true = rng.uniform(1.040, 1.060, 400_000)
    u = 0.0004
    verdicts = conformity.verdict(true + rng.normal(0, u, true.size), 1.050, 0.002, u)
    outside = np.abs(true - 1.050) > 0.002
    at_the_limit = np.abs(np.abs(true - 1.050) - 0.002) < 1e-5
    assert np.mean(verdicts[at_the_limit] == "on target") < 0.04
    assert np.mean(outside[verdicts == "on target"]) < 0.0228
    assert np.mean(~outside[(verdicts == "high") | (verdicts == "low")]) < 0.0228

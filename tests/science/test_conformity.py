import numpy as np
import pytest
from scipy.stats import norm

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
        (1.0511, 0.0005, "probably on target"),
        (1.049, 0.0005, "on target"),
        (1.0489, 0.0005, "probably on target"),
        (1.052, 0.0005, "too close to call"),
        # rejected only when the whole interval is outside
        (1.053, 0.0005, "probably high"),  # 1.052 to 1.054: touches from without
        (1.0531, 0.0005, "high"),
        (1.047, 0.0005, "probably low"),
        (1.0469, 0.0005, "low"),
        # U larger than the tolerance: nothing can be accepted
        (1.050, 0.0011, "too close to call"),
        (1.060, 0.0011, "high"),
        (1.054, 0.0011, "probably high"),
        # within u/2 of a limit: as likely on one side as on the other
        (1.05174, 0.0005, "probably on target"),
        (1.05176, 0.0005, "too close to call"),
        (1.05224, 0.0005, "too close to call"),
        (1.05226, 0.0005, "probably high"),
        (1.04776, 0.0005, "too close to call"),
        (1.05175, 0.0005, "too close to call"),  # just u/2 from a limit is still that near
        (1.05225, 0.0005, "too close to call"),
        (1.04825, 0.0005, "too close to call"),
        (1.04775, 0.0005, "too close to call"),
        (1.04774, 0.0005, "probably low"),
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


#: The largest probability with which a wording may be wrong, as TARGET_CHECK states it.
RISK = {
    "on target": 2 * norm.sf(2),
    "low": norm.sf(2),
    "high": norm.sf(2),
    "probably on target": norm.sf(0.5),
    "probably low": norm.sf(0.5),
    "probably high": norm.sf(0.5),
}


@pytest.mark.parametrize("u", [0.0002, 0.0004, 0.0007, 0.001])
def test_the_risk_of_each_wording(u):
    """Drawn: of readings that agree to u/100, the share whose true value contradicts the verdict.

    Every true value is as likely as any other, so that this is the conformance probability of JCGM
    106, clause 7; at the worst reading of each wording it is what the documentation says.
    """
    rng = np.random.default_rng(106)
    true = rng.uniform(1.050 - 0.002 - 6 * u, 1.050 + 0.002 + 6 * u, 2_000_000)
    measured = true + rng.normal(0, u, true.size)
    verdicts = conformity.verdict(measured, 1.050, 0.002, u)
    # As numbers: two million texts take seconds to be compared.
    sides = {"low": -1, "on target": 0, "high": 1}
    side = np.where(true < 1.048, -1, np.where(true > 1.052, 1, 0))
    width = u / 20
    bins = np.floor((measured - measured.min()) / width).astype(int)
    worst = {}
    for word in RISK:
        said = verdicts == word
        counted = np.bincount(bins[said])
        wrong = np.bincount(bins[said], side[said] != sides[word.removeprefix("probably ")])
        many = counted > 2000
        if many.any():
            worst[word] = float(np.max(wrong[many] / counted[many]))
        # Over all readings it is far less than at the worst.
        assert not said.any() or wrong.sum() / counted.sum() < 0.6 * RISK[word]
    assert worst.keys() >= {"low", "high", "probably low", "probably high"}
    noise = 4 * np.sqrt(0.25 / 2000)
    for word, share in worst.items():
        assert share <= RISK[word] + noise * np.sqrt(RISK[word]), (word, share)
    # The bounds are reached, not idle.
    assert worst["probably high"] > 0.9 * RISK["probably high"]
    assert worst["high"] > 0.7 * RISK["high"]


def test_probably_narrows_what_is_too_close_to_call():
    """Of evenly spread readings, u/tolerance = 0.2: a quarter of what it was."""
    measured = np.linspace(1.046, 1.054, 8001)
    verdicts = conformity.verdict(measured, 1.050, 0.002, 0.0004).astype(str)
    former = np.char.startswith(verdicts, "probably") | (verdicts == "too close to call")
    assert np.mean(verdicts == "too close to call") == pytest.approx(0.25 * np.mean(former), 0.02)

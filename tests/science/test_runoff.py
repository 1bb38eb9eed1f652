import numpy as np
import pytest
import scipy.optimize
import scipy.stats

from xlfuncs.science import runoff

LIMIT = 2.56
BEGINS = 8.0
VOLUMES = np.array([4.0, 8.0, 12.0, 16.0, 20.0, 24.0])
PLATO = np.array([15.12, 11.73, 8.79, 6.91, 5.18, 3.97])


def sparge(rng, readings=10, collected=0.6):
    """Volumes, readings with noise, and the volume at the limit of a sparge still under way."""
    first, end = rng.uniform(14, 22), rng.uniform(15, 600)
    volumes = np.linspace(0.05, collected, readings) * end
    plato = first * (LIMIT / first) ** (volumes / end)
    return volumes, plato + rng.normal(0, rng.uniform(0.1, 0.2), readings), end


@pytest.fixture(scope="module")
def predictions():
    """300 sparges of which 60 % is collected: predicted, uncertainty, true."""
    rng = np.random.default_rng(2024)
    rows = []
    for _ in range(300):
        volumes, plato, end = sparge(rng, readings=int(rng.integers(8, 16)))
        curve = runoff.fit(volumes, plato, LIMIT)
        rows.append((curve.volume, curve.uncertainty, end))
    return np.array(rows).T


def test_interval_covers_what_it_says(predictions):
    predicted, uncertainty, true = predictions
    assert 0.93 <= np.mean(np.abs(predicted - true) <= 2 * uncertainty) <= 0.97


def test_error_once_most_is_collected(predictions):
    predicted, _, true = predictions
    errors = np.abs(predicted / true - 1)
    assert np.sqrt(np.mean(errors**2)) < 0.015
    assert np.quantile(errors, 0.95) <= 0.03


@pytest.mark.parametrize("readings", [3, 5])
def test_interval_covers_with_few_readings(readings):
    rng = np.random.default_rng(readings)
    within = []
    for _ in range(300):
        volumes, plato, end = sparge(rng, readings)
        curve = runoff.fit(volumes, plato, LIMIT)
        within.append(abs(curve.volume - end) <= 2 * curve.uncertainty)
    assert 0.92 <= np.mean(within) <= 0.98


def test_fit_against_curve_fit():
    curve = runoff.fit(VOLUMES, PLATO, LIMIT)
    (volume, scale), covariance = scipy.optimize.curve_fit(
        lambda v, volume, scale: LIMIT * np.exp((volume - v) / scale), VOLUMES, PLATO, p0=[30, 15]
    )
    assert (curve.volume, curve.scale) == pytest.approx((volume, scale), rel=1e-6)
    stretch = scipy.stats.t.ppf(0.975, VOLUMES.size - 2) / 2
    assert curve.uncertainty == pytest.approx(np.sqrt(covariance[0, 0]) * stretch, rel=1e-4)
    assert curve.rejected is None


def test_of_two_places_of_rest_the_lower_is_the_answer():
    """With slips among few readings least squares from one start may end in the wrong one."""
    volumes = np.array([6.0, 7.0, 12.0, 17.0, 20.0, 30.0])
    plato = np.array([6.7, 0.5, 2.7, 0.8, 0.2, 0.0])

    def squares(parameters):
        volume, scale = parameters
        return np.sum((LIMIT * np.exp((volume - volumes) / scale) - plato) ** 2)

    from_the_line = scipy.optimize.minimize(squares, [8.9, 5.3])
    anywhere = scipy.optimize.brute(squares, [(5.5, 9), (0.1, 8)], Ns=200)
    curve = runoff._curve(volumes, plato, LIMIT)
    assert squares(anywhere) < from_the_line.fun / 2
    assert curve.squares == pytest.approx(squares(anywhere), rel=1e-6)


@pytest.mark.parametrize("position", range(6))
@pytest.mark.parametrize("slip", [-4.0, 4.0, 15.0])
def test_one_bad_reading_hardly_moves_the_answer(position, slip):
    bad = PLATO.copy()
    bad[position] += slip
    clean = runoff.fit(VOLUMES, PLATO, LIMIT)
    curve = runoff.fit(VOLUMES, bad, LIMIT)
    assert curve.rejected == position
    assert curve.volume == pytest.approx(clean.volume, rel=0.03)
    others = np.arange(6) != position
    without = runoff.fit(VOLUMES[others], PLATO[others], LIMIT)
    assert curve.volume == pytest.approx(without.volume, rel=1e-9)


def test_order_does_not_matter():
    mixed = np.random.default_rng(3).permutation(6)
    one, other = runoff.fit(VOLUMES, PLATO, LIMIT), runoff.fit(VOLUMES[mixed], PLATO[mixed], LIMIT)
    assert other.volume == pytest.approx(one.volume, rel=1e-9)
    assert other.uncertainty == pytest.approx(one.uncertainty, rel=1e-6)


@pytest.mark.parametrize("unit", [1e-9, 1e-3, 1.0, 1e5])
def test_any_unit_of_volume_will_do(unit):
    one, other = runoff.fit(VOLUMES, PLATO, LIMIT), runoff.fit(VOLUMES * unit, PLATO, LIMIT)
    assert other.volume == pytest.approx(one.volume * unit, rel=1e-7)


def test_a_thin_runoff_falls_like_a_strong_one():
    strong, thin = (runoff.fit(VOLUMES, 18 * s * np.exp(-VOLUMES / 15), 4 * s) for s in (1, 0.01))
    assert thin.volume == pytest.approx(strong.volume, rel=1e-9)
    assert thin.scale == pytest.approx(15, rel=1e-9)


def test_exact_readings_give_the_curve():
    exact = 18 * np.exp(-VOLUMES / 15)
    curve = runoff.fit(VOLUMES, exact, LIMIT)
    assert curve.volume == pytest.approx(15 * np.log(18 / LIMIT))
    assert curve.uncertainty == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    "plato",
    [
        [5.0, 6.0, 7.0, 8.0],  # rises
        [5.0, 6.0, 7.0, 4.0],
        [5.0, 5.0, 5.0, 5.0],
        [-0.1, -0.2, -0.1, -0.3],
        [18.0, 0.0, 0.0, 0.0],
        [1.9, 2.5, 2.8, -0.1],  # rises, but for a reading of nothing
        [5.0, 4.999, 4.998, 4.997],  # the last reading less by what no instrument shows
    ],
)
def test_no_curve_where_nothing_falls(plato):
    assert runoff.fit(np.array([0.0, 5.0, 10.0, 15.0]), np.array(plato), LIMIT) is None


def test_level_readings_have_no_end_by_sums_either():
    assert runoff.fit_all(VOLUMES, np.ones(6), LIMIT) is None


# --- slips and plateaus, found as the text of `fit` says, by scipy ------------------------------


def fitted(volumes, plato):
    """Volume and scale of least squares, their covariance at u = 1, and the sum of squares."""

    def fall(v, volume, scale):
        return LIMIT * np.exp((volume - v) / scale)

    found, shape = scipy.optimize.curve_fit(
        fall, volumes, plato, [30, 15], np.ones_like(plato), absolute_sigma=True, xtol=1e-14
    )
    return lambda v: fall(v, *found), shape, float(np.sum((fall(volumes, *found) - plato) ** 2))


def improbable(volumes, plato, left_out):
    """How improbable one reading is as a next one of the others; four times 0.2 °P pooled."""
    others = np.arange(plato.size) != left_out
    curve, shape, squares = fitted(volumes[others], plato[others])
    v = volumes[left_out]
    steps = np.sqrt(np.diag(shape)) * 1e-5
    moved = []
    for place in range(2):
        sides = []
        for sign in (-1, 1):
            volume, scale = runoff_parameters(curve) + sign * steps * np.eye(2)[place]
            sides.append(LIMIT * np.exp((volume - v) / scale))
        moved.append((sides[1] - sides[0]) / 2 / steps[place])
    pooled = (squares + 4 * 0.2**2) / (plato.size - 3 + 4)
    t = (plato[left_out] - curve(v)) / np.sqrt(pooled * (1 + np.array(moved) @ shape @ moved))
    return 2 * scipy.stats.t.sf(abs(t), plato.size - 3 + 4)


def runoff_parameters(curve):
    """Volume and scale of a curve, from two of its points."""
    one, other = np.log(curve(np.array([0.0, 10.0])) / LIMIT)
    scale = 10 / (one - other)
    return np.array([one * scale, scale])


@pytest.mark.parametrize("position", [2, 3, 5])
def test_a_slip_is_one_in_a_hundred_over_all_readings(position):
    """Just above that it is left out, just below it stays."""

    def spoilt(by):
        bad = PLATO.copy()
        bad[position] += by
        return bad

    def over(by):
        return np.log(improbable(VOLUMES, spoilt(by), position) * VOLUMES.size / 0.01)

    limit = scipy.optimize.brentq(over, 0.3, 5)
    assert runoff.fit(VOLUMES, spoilt(limit * 1.001), LIMIT).rejected == position
    assert runoff.fit(VOLUMES, spoilt(limit * 0.999), LIMIT).rejected is None


def test_a_plateau_is_one_in_twenty_against_a_plain_fall():
    """By Fisher's F of one more parameter; four times 0.2 °P pooled."""
    volumes = np.arange(1.0, 17.0)
    scatter = -0.1 * (-1) ** np.arange(16)

    def readings(bend):
        """A plain fall at 0, a plateau of eight readings at 1."""
        plain = 17.5 * np.exp(-(volumes - 1) / 24)
        return plain + bend * (lauter(volumes) - plain) + scatter

    def over(bend):
        plato = readings(bend)
        *_, plain = fitted(volumes, plato)
        split = []
        for number in range(2, 14):
            curve, _, squares = fitted(volumes[number:], plato[number:])
            first = plato[:number]
            if np.std(first, ddof=1) <= 0.4 and np.mean(curve(volumes[:number])) >= first.mean():
                split.append(squares + np.sum((first - first.mean()) ** 2))
        least = min(split, default=plain)
        pooled = (least + 4 * 0.2**2) / (16 - 3 + 4)
        return (plain - least) / pooled - scipy.stats.f.ppf(0.95, 1, 16 - 3 + 4)

    limit = scipy.optimize.brentq(over, 0.05, 0.3)
    assert runoff.fit(volumes, readings(limit + 0.002), LIMIT).plateau > 1
    assert runoff.fit(volumes, readings(limit - 0.002), LIMIT).plateau == 0


def test_two_readings_that_rise_are_no_fall_behind_a_plateau():
    """The fall begins one reading earlier, with three."""
    curve = runoff.fit(np.arange(1.0, 7.0), np.array([17.0, 17.1, 16.9, 17.0, 12.0, 13.0]), LIMIT)
    assert curve is not None
    assert curve.plateau == 3


# --- first wort, and what all readings share ------------------------------


def lauter(volumes, first=17.5, scale=12.0):
    """First wort as strong as it is, then the fall; it ends at BEGINS + scale·ln(first/LIMIT)."""
    return first * np.exp(-np.maximum(volumes - BEGINS, 0) / scale)


END = BEGINS + 12.0 * np.log(17.5 / LIMIT)


@pytest.mark.parametrize("noise", [0.0, 0.08])
@pytest.mark.parametrize("step", [1.5, 2.0, 2.5])
def test_the_curve_starts_behind_the_plateau(noise, step):
    volumes = np.arange(1.0, 22.0, step)
    plato = lauter(volumes) + noise * np.random.default_rng(3).normal(size=volumes.size)
    curve = runoff.fit(volumes, plato, LIMIT)
    assert curve.plateau == np.sum(volumes <= BEGINS)
    assert abs(curve.volume - END) <= 2 * curve.uncertainty + 1e-9
    plain = runoff._curve(volumes, plato, LIMIT)
    assert plain.volume - END > 2, "one curve through all ends litres late"


def test_behind_a_plateau_its_scatter_counts_too():
    volumes = np.arange(1.0, 22.0, 2.0)
    plato = lauter(volumes) + 0.08 * np.random.default_rng(3).normal(size=volumes.size)
    level = volumes <= BEGINS
    _, shape, squares = fitted(volumes[~level], plato[~level])
    squares += np.sum((plato[level] - plato[level].mean()) ** 2)
    freedom = np.sum(~level) - 2 + np.sum(level) - 1
    u = np.sqrt(squares / freedom * shape[0, 0]) * scipy.stats.t.ppf(0.975, freedom) / 2
    assert runoff.fit(volumes, plato, LIMIT).uncertainty == pytest.approx(u, rel=1e-4)


def test_readings_of_a_plateau_in_any_order():
    volumes = np.arange(1.0, 22.0, 2.0)
    mixed = np.random.default_rng(4).permutation(volumes.size)
    one, other = (runoff.fit(v, lauter(v), LIMIT) for v in (volumes, volumes[mixed]))
    assert other.volume == pytest.approx(one.volume, rel=1e-9)
    assert other.plateau == one.plateau == 4


def test_a_slip_behind_a_plateau_is_left_out_too():
    volumes = np.arange(1.0, 26.0, 2.0)
    plato = lauter(volumes)
    plato[8] += 5.0
    curve = runoff.fit(volumes, plato, LIMIT)
    assert (curve.plateau, curve.rejected) == (4, 8)
    assert curve.volume == pytest.approx(END, abs=0.05)


def test_a_plain_fall_has_no_plateau():
    """Of 300 sparges without one, five in a hundred may look as if they had."""
    random = np.random.default_rng(6)
    found = [runoff.fit(*sparge(random)[:2], LIMIT).plateau for _ in range(300)]
    assert np.mean(np.array(found) > 0) < 0.07


def test_a_fall_that_has_just_begun_has_no_end_yet():
    volumes = np.array([1.0, 3.0, 5.0, 7.0, 9.5])
    curve = runoff.fit(volumes, lauter(volumes), LIMIT)
    assert curve.plateau == 4
    assert np.isinf(curve.uncertainty)


@pytest.mark.parametrize(("level", "share"), [(0.1, 0.0), (0.0, 0.02)])
def test_what_all_readings_share_moves_the_volume_as_a_new_fit_says(level, share):
    clean = runoff.fit(VOLUMES, PLATO, LIMIT)
    stated = runoff.fit(VOLUMES, PLATO, LIMIT, level, share)
    moved = runoff.fit(VOLUMES, PLATO * (1 + share) + level, LIMIT)
    common = np.sqrt(stated.uncertainty**2 - clean.uncertainty**2)
    assert common == pytest.approx(abs(moved.volume - clean.volume), rel=0.05)


def test_two_steps_from_the_line_are_enough():
    """They end within a millionth of the uncertainty; the line itself lies a hundredth away."""
    ended, line, least = (
        runoff.fit_all(VOLUMES, PLATO, LIMIT, **steps) for steps in ({}, {"steps": 0}, {"steps": 9})
    )
    assert abs(ended.volume - least.volume) < 1e-6 * least.uncertainty
    assert abs(line.volume - least.volume) > 1e-2 * least.uncertainty


def test_the_curve_through_all_readings_against_curve_fit():
    """What stands in for the fit where no Python is: volume, scale, and each part of its u."""
    volumes = np.array([4.0, 9.0, 15.0, 20.0, 26.0])
    plato = 17 * np.exp(-volumes / 13) + np.array([0.1, -0.15, 0.05, 0.12, -0.1])
    limit = 2.5

    def curve(at, volume, scale):
        return limit * np.exp((volume - at) / scale)

    found, covariance = scipy.optimize.curve_fit(curve, volumes, plato, [30, 13], xtol=1e-14)
    (volume, scale), scatter = found, np.sqrt(covariance[0, 0])
    by_scatter = scatter * scipy.stats.t.ppf(0.975, volumes.size - 2) / 2

    def u(u_level, u_share):
        fitted = runoff.fit_all(volumes, plato, limit, u_level, u_share, steps=8)
        assert (fitted.volume, fitted.scale) == pytest.approx((volume, scale), rel=1e-8)
        return fitted.uncertainty

    assert runoff.fit_all(volumes, plato, limit).plateau == 0, "none is looked for"
    in_hl = runoff.fit_all(volumes / 100, plato, limit, 0, 0, steps=8)
    assert (in_hl.volume, in_hl.scale) == pytest.approx((volume / 100, scale / 100), rel=1e-8)
    moved, _ = scipy.optimize.curve_fit(curve, volumes, plato + 1e-4, [30, 13], xtol=1e-14)
    by_level = 0.2 * (moved[0] - volume) / 1e-4
    assert u(0, 0) == pytest.approx(by_scatter, rel=1e-5)
    assert u(0.2, 0) == pytest.approx(np.hypot(by_scatter, by_level), rel=5e-3)
    assert u(0.2, 0.03) == pytest.approx(
        np.sqrt(by_scatter**2 + by_level**2 + (0.03 * scale) ** 2), rel=5e-3
    )

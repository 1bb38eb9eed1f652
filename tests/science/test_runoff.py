import numpy as np
import pytest
import scipy.optimize
import scipy.stats

from xlfuncs.science import runoff

LIMIT = 2.56
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


@pytest.mark.parametrize("unit", [1e-3, 1.0, 1e5])
def test_any_unit_of_volume_will_do(unit):
    one, other = runoff.fit(VOLUMES, PLATO, LIMIT), runoff.fit(VOLUMES * unit, PLATO, LIMIT)
    assert other.volume == pytest.approx(one.volume * unit, rel=1e-7)


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
    ],
)
def test_no_curve_where_nothing_falls(plato):
    assert runoff.fit(np.array([0.0, 5.0, 10.0, 15.0]), np.array(plato), LIMIT) is None


# --- first wort, and what all readings share ------------------------------

BEGINS = 8.0


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

    in_hl = runoff.fit_all(volumes / 100, plato, limit, 0, 0, steps=8)
    assert (in_hl.volume, in_hl.scale) == pytest.approx((volume / 100, scale / 100), rel=1e-8)
    moved, _ = scipy.optimize.curve_fit(curve, volumes, plato + 1e-4, [30, 13], xtol=1e-14)
    by_level = 0.2 * (moved[0] - volume) / 1e-4
    assert u(0, 0) == pytest.approx(by_scatter, rel=1e-5)
    assert u(0.2, 0) == pytest.approx(np.hypot(by_scatter, by_level), rel=5e-3)
    assert u(0.2, 0.03) == pytest.approx(
        np.sqrt(by_scatter**2 + by_level**2 + (0.03 * scale) ** 2), rel=5e-3
    )

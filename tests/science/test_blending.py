import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.oracles import ethanol_density, ethanol_fraction
from tests.published import Table
from xlfuncs.science import blending, sucrose, units

SUCROSE_MOLAR_MASS = 342.297  # g/mol

wort_sg = st.floats(1.001, 1.15)
any_sg = st.floats(0.98, 1.2)
volume = st.floats(0.01, 1e5)
parts = st.lists(st.tuples(volume, any_sg), min_size=1, max_size=8)
RELATIVE = 1e-9


def mass(volume, sg):
    """Kilograms in so many litres, by the density of the solution rather than the gravity."""
    return volume * sucrose.density(sucrose.plato(sg)) / 1000


def columns(pairs):
    return tuple(np.array(column) for column in zip(*pairs, strict=True))


# --- published values ------------------------------


def test_extract_in_a_litre():
    table = Table("sucrose_molarity_crc")
    per_litre = blending.extract_per_litre(sucrose.sg(table["plato"]))
    table.hold(per_litre / SUCROSE_MOLAR_MASS - table["molarity"])


def test_extract_in_a_barrel():
    table = Table("extract_in_barrel")
    litres = units.convert(1.0, "US bbl", "L")
    kilograms = blending.extract_mass(litres, sucrose.sg(table["plato"]))
    table.hold(units.convert(kilograms, "kg", "lb") - table["pounds"])


def test_a_pound_of_sucrose_in_a_gallon_is_46_2_points():
    """Computed from SPS-4, and what the trade rounds to 46."""
    gallon, pound = units.LITRES_PER_US_GALLON, units.KILOGRAMS_PER_POUND
    sg = 1.0462
    assert blending.extract_mass(gallon, sg) == pytest.approx(pound, rel=5e-4)
    # Sugar into water until the solution fills the gallon.
    water = gallon * (sucrose.from_apparent(sg) / 1000 - pound / gallon) / (sucrose.WATER_20 / 1000)
    solution = blending.after_extract(water, 1.0, pound, 1.0)
    assert solution.sg == pytest.approx(sg, abs=5e-5)
    assert solution.volume == pytest.approx(gallon, rel=5e-5)


# --- conservation ------------------------------


@given(any_sg)
def test_density_is_that_of_the_solution(sg):
    assert sucrose.from_apparent(sg) == pytest.approx(sucrose.density(sucrose.plato(sg)), rel=1e-12)


@given(parts)
def test_blend_conserves_mass_and_extract(pairs):
    volumes, sgs = columns(pairs)
    mixed = blending.blend(volumes, sgs)
    total = mass(volumes, sgs).sum()
    assert mass(mixed.volume, mixed.sg) == pytest.approx(total, rel=RELATIVE)
    assert blending.extract_mass(mixed.volume, mixed.sg) == pytest.approx(
        blending.extract_mass(volumes, sgs).sum(), rel=RELATIVE, abs=RELATIVE * total
    )


@given(parts, st.randoms(use_true_random=False))
def test_order_of_blending_does_not_matter(pairs, random):
    volumes, sgs = columns(pairs)
    at_once = blending.blend(volumes, sgs)
    random.shuffle(pairs)
    step = blending.Blend(*pairs[0])
    for more in pairs[1:]:
        both = np.array([step.volume, more[0]]), np.array([step.sg, more[1]])
        step = blending.blend(*both)
    assert step.sg == pytest.approx(at_once.sg, abs=1e-11)
    assert step.volume == pytest.approx(at_once.volume, rel=RELATIVE)


@given(st.lists(volume, min_size=1, max_size=8), any_sg)
def test_blend_of_equal_gravities_is_that_gravity(volumes, sg):
    mixed = blending.blend(np.array(volumes), np.full(len(volumes), sg))
    assert mixed.sg == pytest.approx(sg, abs=1e-12)
    assert mixed.volume == pytest.approx(sum(volumes), rel=1e-12)


@given(any_sg, any_sg, st.floats(0, 1))
def test_share_makes_the_blend(sg_a, sg_b, part):
    target = sg_a + part * (sg_b - sg_a)
    assume(abs(sg_a - sg_b) > 1e-4)
    share = blending.share(sg_a, sg_b, target)
    mixed = blending.blend(np.array([share, 1 - share]), np.array([sg_a, sg_b]))
    assert mixed.sg == pytest.approx(target, abs=1e-10)


@given(volume, wort_sg, wort_sg)
def test_water_conserves_mass_and_extract(volume, sg, target):
    water = blending.water_to_add(volume, sg, target)
    after = blending.volume_at_sg(volume, sg, target)
    assert mass(after, target) == pytest.approx(
        mass(volume, sg) + water * sucrose.WATER_20 / 1000, rel=RELATIVE
    )
    assert blending.extract_mass(after, target) == pytest.approx(
        blending.extract_mass(volume, sg), rel=RELATIVE
    )
    assert blending.after_water(volume, sg, water) == pytest.approx(target, abs=1e-11)


@given(volume, wort_sg, wort_sg)
def test_dilution_undoes_boil_off(volume, sg, target):
    boiled = -blending.water_to_add(volume, sg, target)
    left = blending.volume_at_sg(volume, sg, target)
    assert blending.water_to_add(left, target, sg) == pytest.approx(
        boiled, rel=1e-8, abs=1e-9 * volume
    )
    assert blending.volume_at_sg(left, target, sg) == pytest.approx(volume, rel=RELATIVE)


@given(volume, wort_sg, st.floats(1.001, 1.15))
def test_dilution_is_a_blend_with_water(volume, sg, target):
    assume(target < sg)
    water = blending.water_to_add(volume, sg, target)
    mixed = blending.blend(np.array([volume, water]), np.array([sg, 1.0]))
    assert mixed.sg == pytest.approx(target, abs=1e-11)
    assert mixed.volume == pytest.approx(blending.volume_at_sg(volume, sg, target), rel=RELATIVE)


@given(volume, st.floats(1, 1.12), st.floats(0, 0.08), st.floats(0.6, 1))
def test_extract_conserves_mass_and_extract(volume, sg, more, fraction):
    target = sg + more
    added = blending.extract_to_add(volume, sg, target, fraction)
    done = blending.after_extract(volume, sg, added, fraction)
    assert done.sg == pytest.approx(target, abs=1e-11)
    assert mass(done.volume, done.sg) == pytest.approx(mass(volume, sg) + added, rel=RELATIVE)
    assert blending.extract_mass(done.volume, done.sg) == pytest.approx(
        blending.extract_mass(volume, sg) + fraction * added, rel=RELATIVE, abs=1e-12
    )


@given(volume, wort_sg, st.floats(0.5, 3))
def test_gravity_in_another_volume_and_back(volume, sg, times):
    there = blending.sg_at_volume(volume, sg, volume * times)
    assume(there < blending.HIGHEST_SG)
    assert blending.volume_at_sg(volume, sg, there) == pytest.approx(volume * times, rel=1e-8)


@given(parts, st.lists(st.floats(0, 15), min_size=8, max_size=8))
def test_ethanol_is_conserved_in_the_volume_of_the_blend(pairs, strengths):
    volumes, sgs = columns(pairs)
    abvs = np.array(strengths[: len(pairs)])
    pure = np.sum(volumes * abvs)
    with_sgs = blending.blend_abv(volumes, abvs, sgs)
    assert with_sgs * blending.blend(volumes, sgs).volume == pytest.approx(pure, rel=RELATIVE)
    assert blending.blend_abv(volumes, abvs) * volumes.sum() == pytest.approx(pure, rel=RELATIVE)


def test_what_ethanol_adds_to_a_volume_is_as_little_as_said():
    """Strong beer with water, without extract: OIML R 22 against the plain sum of volumes."""
    strong = ethanol_fraction(12.0)
    masses = np.array([ethanol_density(strong), ethanol_density(0.0)])  # of 1 m³ each
    mixed = ethanol_density(strong * masses[0] / masses.sum())
    grown = masses.sum() / mixed / 2 - 1
    assert 2e-4 < grown < 1e-3


def test_an_addition_must_be_stronger_than_its_target():
    assert blending.strong_enough(sucrose.sg(np.array([19.9, 20.1])), 0.2).tolist() == [True, False]


@pytest.mark.parametrize("end", [0.98, 1.206])
def test_no_water_leaves_a_wort_at_the_end_of_the_scale_as_it_is(end):
    assert blending.after_water(20.0, end, 0.0) == pytest.approx(end, abs=1e-12)
    assert blending.sg_at_volume(20.0, end, 20.0) == pytest.approx(end, abs=1e-12)


def test_volumes_shrink_when_strong_wort_meets_water():
    mixed = blending.blend(np.array([10.0, 10.0]), np.array([1.0, 1.1]))
    assert 19.99 < mixed.volume < 20


def test_blends_along_an_axis():
    volumes, sgs = np.full((3, 2), 10.0), np.array([[1.04, 1.06], [1.0, 1.1], [1.05, 1.05]])
    rows = blending.blend(volumes, sgs)
    single = [blending.blend(*row).sg for row in zip(volumes, sgs, strict=True)]
    assert rows.sg == pytest.approx(single, abs=1e-14)
    assert blending.blend(volumes.T, sgs.T, axis=0).sg == pytest.approx(single, abs=1e-14)


@pytest.mark.parametrize("common", [0.0, 0.001])
def test_uncertainty_of_a_blend(common):
    """Drawn: each part's own error, one error that all share, and each volume's."""
    volumes, sgs = np.array([10.0, 20.0, 5.0]), np.array([1.045, 1.060, 1.080])
    own = np.array([0.0004, 0.0006, 0.0004])
    random = np.random.default_rng(8)
    noise = random.normal(size=(2, 100_000, 3))
    shared = common * random.normal(size=(100_000, 1))
    drawn = blending.blend(volumes * (1 + 0.01 * noise[0]), sgs + own * noise[1] + shared).sg
    stated = blending.sg_uncertainty(volumes, sgs, own, np.full(3, common), 0.01)
    assert stated == pytest.approx(np.std(drawn), rel=0.02)

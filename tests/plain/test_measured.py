import dataclasses

import numpy as np
import pytest

from tests.helpers import recorded_anew
from xlfuncs.cells.catalogue import CATALOGUE
from xlfuncs.plain import fits, measured, measuring, pieces, recorded
from xlfuncs.plain.compute import compute
from xlfuncs.science import beer, gravity, sucrose, units


@pytest.mark.parametrize("name", measured.BOUNDS)
def test_random_cases_lie_within_the_bound(name):
    cases = measured.random_cases(name, 10_000, seed=5)
    for found in measured.compare(name, cases, measured.steps_of(name)):
        assert found.largest <= found.bound.most
        assert found.unlike == 0
        assert found.answered > 50 or found.bound.most == 0


def grid_cases(name: str, count: int) -> list[measured.Case]:
    """A grid over the declared ranges, ends included, of about so many cases."""
    found: list[measured.Case] = []
    for words in measured.words_of(name):
        ranges = measured.ranges_of(CATALOGUE[name], words)
        points = max(2, round((count / len(measured.words_of(name))) ** (1 / len(ranges))))
        axes = [np.linspace(low, high, points) for low, high in ranges.values()]
        grids = np.meshgrid(*axes, indexing="ij")
        found.append((words, {key: grid.ravel() for key, grid in zip(ranges, grids, strict=True)}))
    return found


@pytest.mark.parametrize("name", measured.BOUNDS)
def test_a_grid_lies_within_the_bound(name):
    for found in measured.compare(name, grid_cases(name, 8000), measured.steps_of(name)):
        assert found.largest <= found.bound.most
        assert found.unlike == 0


def test_what_is_kept_is_what_is_measured():
    """A largest difference may move a little with numpy, and by much where it is nothing."""
    kept = measured.kept()
    fresh = list(measuring.rows())
    assert [(one.function, one.column, one.steps) for one in kept] == [row[:3] for row in fresh]
    for one, (*_, largest) in zip(kept, fresh, strict=True):
        assert one.largest == pytest.approx(float(largest), rel=0.1, abs=1e-9)
        assert one.largest <= one.bound.most


def test_every_function_of_a_row_has_a_bound():
    elementwise = {name for name, each in CATALOGUE.items() if not each.answers_whole}
    assert measured.BOUNDS.keys() == elementwise - {"CELLS_VERSION"}


@pytest.mark.parametrize("name", ["GRAVITY_CONVERT", "UNIT_CONVERT"])
def test_a_conversion_by_words_from_cells_is_that_of_each_pair(name):
    """The words are those of the cells, so the formula goes by way of one scale or unit."""
    value, source, target = (each.name for each in CATALOGUE[name].arguments)
    [[formula]] = recorded.record(CATALOGUE[name], {}, lambda: pieces.standing_in(1))
    words = gravity.SCALES if name == "GRAVITY_CONVERT" else units.UNITS
    for one in words:
        given = {source: one, target: list(words)}
        number = 0.3 * words[one].low + 0.7 * min(words[one].high, 1e6)
        columns = {
            value: np.full(len(words), number),
            source: np.full(len(words), one, dtype=object),
            target: np.array(list(words), dtype=object),
        }
        answers = compute(formula, columns)
        for other, ours in zip(given[target], answers, strict=True):
            right = measured.asked(
                CATALOGUE[name], {source: one, target: other}, {value: np.array([number])}
            )[0, 0]
            if isinstance(right, float):
                assert ours == pytest.approx(right, rel=1e-6, abs=1e-6)
            else:
                assert ours == right


def test_texts_are_alike_but_for_a_last_digit():
    assert measured.alike("at 12.4 %", "at 12.5 %")
    assert not measured.alike("at 12.4 %", "at 12.6 °P")
    assert not measured.alike("at 12.4 %", "at 13.4 %")
    assert not measured.alike("low", "high")


def test_a_fit_keeps_its_tolerance_between_its_nodes():
    found = fits.fit(lambda x, y: np.exp(x / 3) * np.cos(y), 1e-5, (-1, 2), (0.5, 1.5))
    x, y = np.random.default_rng(0).uniform((-1, 0.5), (2, 1.5), (1000, 2)).T
    assert np.max(np.abs(found(x, y) - np.exp(x / 3) * np.cos(y))) <= 1e-5
    assert found.error <= 1e-5
    with pytest.raises(ValueError, match="no polynomial"):
        fits.fit(np.abs, 1e-6, (-1, 1))


@pytest.mark.parametrize(
    ("name", "module", "constant"),
    [
        ("BEER_ABV", beer, "EXTRACT_PER_ETHANOL"),
        ("REFRACTOMETER_BRIX", sucrose, "_REFRACTION_RISE"),
        ("BEER_SG", beer, "_LOST_PER_ETHANOL"),
    ],
)
def test_another_coefficient_in_science_gives_another_formula(monkeypatch, name, module, constant):
    words = tuple(sorted(measured.words_of(name)[0].items()))
    before = recorded.with_stand_ins(name, words, 2)
    with recorded_anew():
        monkeypatch.setattr(module, constant, getattr(module, constant) * 1.01)
        after = recorded.with_stand_ins(name, words, 2)
    assert before[0][0] is not after[0][0]
    given = {
        each.name: np.array([each.quantity.typical])
        for each in CATALOGUE[name].arguments
        if each.name not in dict(words)
    }
    given |= {key: given[key] + 10 for key in given if key == "temperature"}
    right = measured.asked(CATALOGUE[name], dict(words), given)[0, 0]
    assert compute(after[0][0], given)[0] == pytest.approx(right, rel=1e-4)
    assert compute(before[0][0], given)[0] != pytest.approx(right, rel=1e-6)


def test_another_limit_in_the_catalogue_gives_another_formula(monkeypatch):
    from xlfuncs.plain import arguments

    argument = CATALOGUE["WORT_SG"].arguments[0]
    before = arguments.read(argument, argument.quantity)
    after = arguments.read(argument, dataclasses.replace(argument.quantity, high=44.5))
    assert before is not after

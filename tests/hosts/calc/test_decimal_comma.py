"""An office whose decimal sign is a comma: every number the same, every sentence right."""

from __future__ import annotations

import re

import pytest

from xlfuncs.hosts import embedded
from xlfuncs.hosts.calc import runner
from xlfuncs.workbook import build
from xlfuncs.workbook.words import Choices


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_german_office_says_the_same_with_a_comma(needs_office, tmp_path, monkeypatch, units):
    monkeypatch.setenv("LC_ALL", "de_DE.UTF-8")
    path = tmp_path / "book.xlsx"
    path.write_bytes(
        build.to_bytes(build.build(Choices(rows=70, checks=20, example=True, units=units)))
    )
    ours, theirs = embedded.calculate(path).values, runner.compute(path)
    texts = 0
    for place, value in ours.items():
        if isinstance(value, str):
            # What is computed has a comma; figures in the words themselves stay as they are.
            assert re.sub(r"(?<=\d),(?=\d)", ".", str(theirs[place])) == value, place
            texts += theirs[place] != value
        else:
            assert theirs[place] == pytest.approx(value, rel=1e-9, abs=1e-12), place
    assert texts > 20

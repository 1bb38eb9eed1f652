"""An office for the tests that need one; without it they are skipped, or fail if it is required."""

import os
from collections import Counter

import pytest

from xlfuncs.hosts.calc.install import numpy_for
from xlfuncs.hosts.calc.offices import OfficeProblem, choose_office

REQUIRED = "XLFUNCS_REQUIRE_OFFICE"


def usable_office():
    """The office, or the sentence that says why there is none to test with."""
    try:
        office = choose_office()
        numpy_for(office)
    except OfficeProblem as problem:
        return str(problem)
    return office


@pytest.fixture(scope="session")
def _usable_office():
    return usable_office()


@pytest.fixture(scope="session")
def needs_office(_usable_office):
    """The office to test with."""
    if isinstance(_usable_office, str):
        if os.environ.get(REQUIRED) == "1":
            pytest.fail(f"{REQUIRED}=1, but {_usable_office}")
        pytest.skip(_usable_office)
    return _usable_office


def pytest_terminal_summary(terminalreporter):
    reasons = Counter(
        report.longrepr[2].removeprefix("Skipped: ")
        for report in terminalreporter.stats.get("skipped", [])
        if "hosts/calc" in report.nodeid
    )
    for reason, count in reasons.items():
        terminalreporter.write_line(f"{count} tests with LibreOffice were skipped: {reason}")

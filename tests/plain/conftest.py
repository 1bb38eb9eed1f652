"""The office for tests here too."""

from tests.hosts.calc.conftest import _usable_office, needs_office

__all__ = ["_usable_office", "needs_office"]

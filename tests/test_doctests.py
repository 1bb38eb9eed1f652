"""The example in each docstring runs; those of cell functions run through the catalogue."""

import doctest
import importlib
import inspect
import pkgutil
import re

import pytest

import tests.oracles
import xlfuncs.cells
import xlfuncs.science

MODULES = [
    importlib.import_module(module.name)
    for package in (xlfuncs.science, xlfuncs.cells)
    for module in pkgutil.iter_modules(package.__path__, package.__name__ + ".")
]


@pytest.mark.parametrize("module", [*MODULES, tests.oracles], ids=lambda module: module.__name__)
def test_examples(module, capsys):
    failed, _ = doctest.testmod(module)
    assert not failed, capsys.readouterr().out


def test_each_function_of_the_science_has_an_example():
    public = [
        function
        for module in MODULES
        for name, function in inspect.getmembers(module, inspect.isfunction)
        if function.__module__ == module.__name__ and not name.startswith("_")
        if module.__name__.startswith("xlfuncs.science.")
    ]
    assert len(public) > 50
    assert not [function for function in public if ">>> " not in function.__doc__]


#: From so many parameters on, each has a line of its own with its unit.
MANY = 4


def _functions_of(module):
    """Its own public functions, and public methods of its classes."""
    for name, thing in inspect.getmembers(module):
        if name.startswith("_") or getattr(thing, "__module__", None) != module.__name__:
            continue
        if inspect.isfunction(thing):
            yield thing


def test_each_of_many_parameters_says_its_unit():
    """A line `name: what, unit` in the docstring, in the order of the signature."""
    silent = []
    for module in MODULES:
        if not module.__name__.startswith("xlfuncs.science."):
            continue
        for function in _functions_of(module):
            names = list(inspect.signature(function).parameters)
            said = re.findall(r"^ *- `(\w+)`: .", function.__doc__, re.MULTILINE)
            if len(names) >= MANY and said != names:
                silent.append(f"{module.__name__}.{function.__name__}: {names} {said}")
    assert not silent, "\n".join(silent)

"""The example in each docstring runs; those of cell functions run through the catalogue."""

import doctest
import importlib
import inspect
import pkgutil

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


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_each_function_of_the_science_has_an_example(module):
    if module.__name__.startswith("xlfuncs.science."):
        public = {
            name: function
            for name, function in inspect.getmembers(module, inspect.isfunction)
            if function.__module__ == module.__name__ and not name.startswith("_")
        }
        assert not [name for name, function in public.items() if ">>> " not in function.__doc__]

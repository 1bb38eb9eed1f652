"""What every test may rely on: hypothesis runs the same examples each time."""

import contextlib
import gc
import os

import pytest
from hypothesis import settings
from hypothesis.internal.conjecture import providers

# Numbers that stand in the modules loaded so far would be among the examples: others in another
# order of the tests, after seconds of reading two hundred files.
with contextlib.suppress(AttributeError):  # of a Hypothesis that does not look for them
    _none = providers._local_constants
    providers._get_local_constants = lambda: _none

# What the command line says too: two processes share two processors.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

settings.register_profile("xlfuncs", derandomize=True, deadline=None, max_examples=50)
settings.load_profile("xlfuncs")

# Hundreds of workbooks are made of objects by the ten thousand: looking them through for circles
# each time there are 700 more takes a sixth of the time of the tests.
gc.set_threshold(3_000_000, 10, 100)


def pytest_collection_modifyitems(items):
    """What takes as long as hundreds of others begins first: nobody waits for it at the end."""
    items.sort(key=lambda item: item.name != "test_every_shell_line_of_the_documents_works")


def pytest_collection_finish():
    """What is there from now on stays: modules and thousands of tests need no looking through."""
    gc.freeze()


def pytest_sessionfinish():
    """What the tests have kept goes with the process: pytest looks through all of it twice more,
    ten seconds long, for errors in what nobody needs any longer; here those are only warnings."""
    gc.freeze()


@pytest.fixture(scope="session", autouse=True)
def _own_cache(tmp_path_factory):
    """The profiles kept for offices go with the tests, and are made from the code as it is: once,
    for all processes that share the work."""
    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent
    with pytest.MonkeyPatch.context() as patch:
        for variable in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
            patch.setenv(variable, str(folder / "cache"))
        yield

"""What every test may rely on: hypothesis runs the same examples each time."""

import gc

from hypothesis import settings

settings.register_profile("xlfuncs", derandomize=True, deadline=None, max_examples=50)
settings.load_profile("xlfuncs")

# Hundreds of workbooks are made of objects by the ten thousand: looking them through for circles
# each time there are 700 more takes a sixth of the time of the tests.
gc.set_threshold(3_000_000, 5, 100)


def pytest_collection_finish():
    """What is there from now on stays: modules and thousands of tests need no looking through."""
    gc.freeze()

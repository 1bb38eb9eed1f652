"""What every test may rely on: hypothesis runs the same examples each time."""

import gc

from hypothesis import settings

settings.register_profile("xlfuncs", derandomize=True, deadline=None, max_examples=50)
settings.load_profile("xlfuncs")

# Hundreds of workbooks are made of objects by the ten thousand: looking them through for circles
# each time there are 700 more takes a sixth of the time of the tests.
gc.set_threshold(100_000, 20, 100)

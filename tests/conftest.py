"""What every test may rely on: hypothesis runs the same examples each time."""

from hypothesis import settings

settings.register_profile("xlfuncs", derandomize=True, deadline=None, max_examples=50)
settings.load_profile("xlfuncs")

"""Property tests here have no deadline: the first example builds the unit registry, and a busy machine
breaks no rule. With CI set the examples are the same each time: what judges a change must not hang on luck, and
new ones are hunted for on everybody's own machine."""

import os

from hypothesis import settings

settings.register_profile("engineering", deadline=None, derandomize="CI" in os.environ)
settings.load_profile("engineering")

"""Property tests here have no deadline: the first example builds the unit registry, and a busy machine
breaks no rule."""

from hypothesis import settings

settings.register_profile("engineering", deadline=None)
settings.load_profile("engineering")

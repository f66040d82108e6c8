"""The same made-up inputs on every machine: a test that passed once does not fail by chance."""

from hypothesis import settings

settings.register_profile("same everywhere", deadline=None, derandomize=True)
settings.load_profile("same everywhere")

"""What all tests share: the same made-up inputs on every machine, and quick starts of the program.

A test that passed once does not fail by chance; and the many tests that start the program as a
process need not translate its files anew each time.
"""

import os
from pathlib import Path

from hypothesis import settings

settings.register_profile("same everywhere", deadline=None, derandomize=True)
settings.load_profile("same everywhere")

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
os.environ["PYTHONPYCACHEPREFIX"] = str(Path(__file__).parent.parent / ".pytest_cache" / "compiled")

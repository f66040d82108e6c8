"""Run every benchmark, one after the other, and print what it is run on.

Run: python -m tests.benchmarks
"""

from __future__ import annotations

import datetime as dt
import os
import platform
import runpy
import sys
from importlib.metadata import version
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

LIBRARIES = ("numpy", "scipy", "pandas", "statsmodels", "matplotlib")


def main() -> None:
    """Print the head and then each benchmark's table."""
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    print(
        f"{dt.date.today()}, {platform.system()} {platform.machine()}, {os.cpu_count()} cores{load}"
    )
    print(
        f"Python {platform.python_version()}, "
        + ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    )
    wanted = sys.argv[1:] or sorted(
        path.stem.removeprefix("bench_") for path in Path(__file__).parent.glob("bench_*.py")
    )
    sys.argv[1:] = []
    for name in wanted:
        print(f"\n== {name}", flush=True)
        runpy.run_module(f"tests.benchmarks.bench_{name}", run_name="__main__")


if __name__ == "__main__":
    main()

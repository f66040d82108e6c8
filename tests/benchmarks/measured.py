"""What a whole command costs: a process of its own, as a grower starts it."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

__all__ = ["Cost", "measured", "python"]

TOP = Path(__file__).resolve().parents[2]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """The least of several runs.

    Parameters
    ----------
    wall_s, cpu_s : float
        Seconds on the clock, and of the processor for user and system.
    peak_mib : float
        Resident memory at its peak.
    """

    wall_s: float
    cpu_s: float
    peak_mib: float

    def __str__(self) -> str:
        return f"{self.wall_s:7.2f} s {self.cpu_s:7.2f} s {self.peak_mib:7.0f} MiB"


@cache
def _environment() -> dict[str, str]:
    """Compile once and keep it, as an installation does; one thread."""
    kept = {name: value for name, value in os.environ.items() if "DONTWRITE" not in name}
    store = tempfile.mkdtemp(prefix="pinset-bench-")
    return {
        **kept, "OPENBLAS_NUM_THREADS": "1", "PYTHONPYCACHEPREFIX": store, "PYTHONPATH": str(TOP)
    }  # fmt: skip


def python(*words: str) -> list[str]:
    """Give the command that runs this Python with some words."""
    return [sys.executable, *words]


def measured(command: Sequence[str], *, times: int = 3, warm: bool = True) -> Cost:
    """Run a command and give the least time and memory.

    Parameters
    ----------
    command : sequence of str
    times : int
        Runs that count.
    warm : bool
        Whether to run it once before.

    Raises
    ------
    RuntimeError
        It ended with another code than 0.
    """
    runs = [_run(command) for _ in range(times + warm)][warm:]
    return Cost(
        wall_s=min(one.wall_s for one in runs),
        cpu_s=min(one.cpu_s for one in runs),
        peak_mib=min(one.peak_mib for one in runs),
    )


def _run(command: Sequence[str]) -> Cost:
    start = time.perf_counter()
    process = subprocess.Popen(
        command, env=_environment(), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )
    said = process.stderr.read().decode() if process.stderr else ""
    _, status, used = os.wait4(process.pid, 0)
    wall = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise RuntimeError(f"{' '.join(command)}: {said[-500:]}")
    return Cost(wall_s=wall, cpu_s=used.ru_utime + used.ru_stime, peak_mib=used.ru_maxrss / 1024)

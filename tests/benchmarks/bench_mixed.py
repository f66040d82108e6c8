"""Time mixed models beside statsmodels, one thread, medians.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_mixed [--large]

statsmodels gives estimates without small-sample df; with --large it is also timed where it
takes more than a minute.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import resource
import subprocess
import sys
import warnings

import numpy as np
import pandas as pd

from analyses.models.contrasts import comparisons
from analyses.models.linear.design import lay_out
from analyses.models.mixed import fit_design, fit_mixed
from tests.benchmarks.in_process import fit_by_statsmodels, median_seconds
from tests.reference.load import frame

FIXED, RANDOM = "treatment * flush", ["block", "bag"]


def made_up(blocks, bags, seed=1):
    """Make up a trial: eight treatments, three flushes, so many bags in each block."""
    rng = np.random.default_rng(seed)
    bag = np.repeat(np.arange(blocks * bags), 3)
    block, treatment, flush = bag // bags, bag % bags % 8, np.tile([0, 1, 2], blocks * bags)
    y = 100 + 2.0 * treatment - 10.0 * flush + rng.normal(0, 6, len(bag))
    y += rng.normal(0, 5, blocks)[block] + rng.normal(0, 4, blocks * bags)[bag]
    labels = pd.Categorical.from_codes
    return pd.DataFrame(
        {
            "y": y,
            "block": block,
            "bag": bag,
            "treatment": labels(treatment, [*"abcdefgh"]),
            "flush": labels(flush, ["F1", "F2", "F3"]),
        }
    )


def crossed(seed=2):
    """Rooms, days and bags crossed: 1,000 rows, 334 bags."""
    rng = np.random.default_rng(seed)
    bag = np.repeat(np.arange(334), 3)[:1000]
    room, day = rng.integers(0, 6, 1000), rng.integers(0, 20, 1000)
    y = rng.normal(size=1000) + rng.normal(size=334)[bag]
    y += rng.normal(size=6)[room] + rng.normal(size=20)[day]
    treatment = np.array([*"abcd"])[bag % 4]
    return pd.DataFrame({"y": y, "bag": bag, "room": room, "day": day, "treatment": treatment})


def compared(data, fixed=FIXED, random=RANDOM, log=False):
    return fit_mixed(data, "y", fixed, random, log=log).contrasts("treatment")


def peer(data, times):
    """Fit bags in blocks by statsmodels' REML."""
    return median_seconds(lambda: fit_by_statsmodels(data), times)


def fast_peer(data, times):
    """Fit bags in blocks by a compiled library where it is installed, or give None.

    Not a dependency: ``pip install --no-deps mixedlm`` puts it beside (1.3.0 was measured).
    """
    try:
        from mixedlm import lmer
    except ImportError:
        return None

    def work():
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            lmer("y ~ treatment * flush + (1 | block) + (1 | bag)", data)

    return median_seconds(work, times)


def small():
    data = frame("mixed_flushes_unbalanced")
    design = lay_out(data, "y", FIXED, RANDOM, log=True)
    arrays = median_seconds(
        lambda: comparisons(fit_design(design), "treatment", df="kenward-roger"), times=200
    )
    table = median_seconds(lambda: compared(data, log=True), times=200)
    logs = data.assign(y=np.log(data["y"]))
    other, fast = peer(logs, times=5), fast_peer(logs, times=20)
    yield "194 rows, arrays, Kenward-Roger contrasts", 1.5e-3, arrays, other, fast
    yield "194 rows, frame and formula", 6e-3, table, other, fast


def covariance():
    data = made_up(30, 24).iloc[:2100]
    fit = fit_mixed(data, "y", FIXED, RANDOM)

    def work():
        fit.__dict__.pop("_kenward_roger", None)
        return fit.covariance_kenward_roger

    yield (
        "Kenward-Roger covariance, 2,100 rows, 700 bags",
        2e-2,
        median_seconds(work, 30),
        None,
        None,
    )
    yield (
        "  the whole fit with it, from a frame",
        2e-2,
        median_seconds(lambda: compared(data), 30),
        None,
        None,
    )


def large(with_peer):
    data = made_up(300, 112).iloc[:100_002]
    other = peer(data, times=1) if with_peer else None
    yield (
        "100,002 rows, 33,334 bags, 300 blocks, with df",
        5e-2,
        median_seconds(lambda: compared(data), times=9),
        other,
        fast_peer(data.astype({"treatment": str, "flush": str}), times=3),
    )
    yield (
        "crossed rooms, days and bags, 1,000 rows",
        1.5e-2,
        median_seconds(lambda: compared(crossed(), "treatment", ["room", "day", "bag"]), 30),
        None,
        None,
    )


def million():
    """Fit a million rows in a process of its own and print seconds and MiB at the peak."""
    data = made_up(1000, 334).iloc[:1_000_002]
    data = data.copy()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    seconds = median_seconds(lambda: compared(data), times=3)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(seconds, before, peak)


def main():
    if "--million" in sys.argv:
        million()
        return
    print(f"{'work':52}{'goal':>10}{'here':>10}{'statsmodels':>13}{'ratio':>8}{'compiled':>13}")
    for part in (small(), covariance(), large("--large" in sys.argv)):
        for work, goal, here, other, fast in part:
            beside = f"{1e3 * other:10.1f} ms{other / here:7.0f}x" if other else " " * 21
            beside += f"{1e3 * fast:10.1f} ms{fast / here:7.1f}x" if fast else ""
            print(f"{work:52}{1e3 * goal:7.1f} ms{1e3 * here:7.2f} ms{beside}")
    command = [sys.executable, "-m", "tests.benchmarks.bench_mixed", "--million"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    seconds, before, peak = map(float, done.stdout.split())
    print(f"{'1,000,002 rows, 333,334 bags, with df':52}{400:7.1f} ms{1e3 * seconds:7.2f} ms")
    print(f"  memory at the peak {peak:.0f} MiB (goal 350), {before:.0f} MiB of it the data")


if __name__ == "__main__":
    main()

"""Time the pooling of 200 growers of 100 bags and three flushes, from records to results.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_pool [growers]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
import time

from analyses.pooling.one_stage import one_stage
from analyses.pooling.pool import pool
from analyses.pooling.rows import kept_rows, loss_rows, stack, yield_rows
from reports.group_report import write_group_report
from reports.group_results import group_results
from reports.page import to_html
from tests.analyses.pooling.together_made import simulated_group
from tests.trials.plans import plan


def timed(what, work):
    wall, own = time.perf_counter(), time.process_time()
    found = work()
    print(
        f"{what:<46} {time.perf_counter() - wall:7.2f} s   "
        f"({time.process_time() - own:.2f} s of the processor)"
    )
    return found


def main(growers=200):
    trial = plan(blocks=25, units=2, flushes=3)
    together = timed(
        f"simulate {growers} growers of {trial.units} bags",
        lambda: simulated_group(trial, growers=growers, spread=30, lost=(0.06, 0.04)),
    )
    stacked = timed("put the records under one another", lambda: stack(together))
    for rows in (yield_rows, kept_rows, loss_rows):
        sample = timed(f"  {rows.__name__}", lambda rows=rows: rows(stacked))
        timed(
            f"    one model of {len(sample.frame)} rows",
            lambda sample=sample: one_stage(sample, trial, level=0.95),
        )
    analysis = timed("pool, everything", lambda: pool(together))
    report = timed("write the report, with its pictures", lambda: write_group_report(analysis))
    timed("  as a page", lambda: to_html(report))
    timed("  as results", lambda: group_results(analysis))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))

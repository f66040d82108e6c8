"""Rehearsals against closed forms, and the same numbers whatever the workers."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import pytest

from analyses.rehearsal import rehearse
from tests.trials.plans import plan
from trials.assumptions import Assumptions
from trials.problems import Refused
from trials.sizes import complete_blocks
from trials.sizing.mean_sizes import expected_width, power_better
from trials.trial import Margin

STEADY = Assumptions(
    mean=400, cv=0.04, cv_block=0.1, cv_flush=0, flush_fails=0, contaminated=0, missing=0,
    late_losses=0, spread="normal",
)  # fmt: skip


def test_power_and_width_of_the_closed_form():
    # noncentral t on blocks and treatments; the standard deviation is that of both sides
    trial = plan(blocks=6, units=2, flushes=1, aim='outcome = "yield"')
    found = rehearse(trial, 4000, seed=3, assumptions=STEADY, effect=Margin(value=16, unit="g"))
    sd = 400 * 0.04 * ((1 + 1.04**2) / 2) ** 0.5
    precision = complete_blocks(6, 2, 2)
    assert found.power == pytest.approx(power_better(16, sd, precision), abs=4 * found.power_error)
    assert found.interval_width == pytest.approx(
        expected_width(sd, precision), abs=4 * found.interval_width_error
    )
    assert found.error_rate == pytest.approx(0.05, abs=4 * found.error_rate_error)
    assert found.coverage == pytest.approx(0.95, abs=4 * found.coverage_error)
    assert sum(found.verdicts.values()) == pytest.approx(1)


def test_the_same_whatever_the_workers():
    trial = plan(treatments=3, blocks=3, units=2)
    alone = rehearse(trial, 1100, seed=5)
    with ProcessPoolExecutor(2) as pool:
        assert rehearse(trial, 1100, seed=5, executor=pool) == alone
    assert rehearse(trial, 400, seed=6).power != rehearse(trial, 400, seed=5).power


def test_the_same_on_a_cluster():
    distributed = pytest.importorskip("dask.distributed", reason="dask.distributed is not there")
    trial = plan(blocks=3, units=2)
    with distributed.Client(processes=False, n_workers=1, dashboard_address=None) as client:
        assert rehearse(trial, 600, seed=5, executor=client.get_executor()) == rehearse(
            trial, 600, seed=5
        )


def test_days_are_seen_at_looks():
    aim = 'outcome = "days to colonise"\nclaim = "{}"\nworthwhile = "3 days"'
    better = rehearse(plan(blocks=4, units=4, aim=aim.format("better")), 60, seed=2)
    assert better.unit == "days"
    assert better.difference == -3
    assert better.power > 0.5
    assert better.coverage > 0.85
    assert better.error_rate < 0.2
    same = rehearse(plan(blocks=4, units=8, aim=aim.format("same")), 40, seed=2)
    assert same.difference == 0
    assert same.power > 0.6


def test_progress_adds_up():
    told = []
    rehearse(plan(blocks=3), 1100, seed=5, progress=told.append)
    assert told == [500, 500, 100]


def test_what_cannot_be_rehearsed_is_refused():
    late = plan(aim='outcome = "days to pins"\nworthwhile = "40 days"')
    with pytest.raises(Refused, match="not possible"):
        rehearse(late, 10)
    fewer = plan(aim='outcome = "contamination"\nworthwhile = "10 in 100"')
    with pytest.raises(Refused, match="not possible"):
        rehearse(fewer, 10, assumptions=replace(STEADY, contaminated=0.05))
    with pytest.raises(ValueError, match="at least 2"):
        rehearse(fewer, 1)

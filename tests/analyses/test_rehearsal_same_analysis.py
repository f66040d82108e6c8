"""The analysis of many trials at once is the one of `questions.analyse`, trial by trial."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analyses.finding import judge
from analyses.questions import analyse
from analyses.rehearsal import analyst_of
from analyses.rehearsing.crossed import ByCrossedModel
from analyses.rehearsing.kept_shares import ByKeptShares
from analyses.rehearsing.losses import ByCounts, ByShares
from analyses.rehearsing.singly import Singly, planned_answer
from analyses.rehearsing.truth import hoped
from analyses.rehearsing.verdicts import VERDICTS, judge_many, margins
from analyses.rehearsing.yields import ByModel
from tests.trials.plans import plan
from trials.assumptions import Assumptions
from trials.designs import draw
from trials.simulate import draw_trials, places
from trials.simulated_days import look_days
from trials.simulated_records import to_records
from trials.trial_file import check_trial

CROP = Assumptions(missing=0.03, contaminated=0.15, flush_fails=0.1)
RARE = Assumptions(contaminated=0.01, batch_correlation=0.3)
FLUSHES = 'outcome = "flush drop"\nworthwhile = "10 in 100"'
LOSSES = 'outcome = "contamination"\nclaim = "{}"\nworthwhile = "10 in 100"'


def made_plan(design, codes="ABCD", aim='outcome = "yield"', factors=()):
    tables = "".join(
        f'[[treatments]]\ncode = "{code}"\nname = "mix {code}"\n'
        + ("control = true\n" if code == "A" else "")
        + (f"factors = {factors[place]}\n" if factors else "")
        for place, code in enumerate(codes)
    )
    return check_trial(
        f'format = 1\n[trial]\ntitle = "A layout"\nflushes = 2\n{tables}[design]\n{design}\n'
        f"seed = 1\n[aim]\n{aim}\n"
    )


SQUARE = 'layout = "latin square"\nrow = "shelf"\ncolumn = "day"'
GROWERS = (
    'layout = "complete blocks"\nblock = "shelf"\nblocks = 2\nunits_per_treatment = 2\n'
    'growers = ["Ana", "Bo", "Cy", "Di"]'
)
SPLIT = (
    'layout = "split plot"\nblock = "week"\nblocks = 5\nunits_per_treatment = 2\n'
    'batch_factor = "steam"'
)
STEAM_AND_MIX = [
    f'{{ steam = "{steam}", mix = "{mix}" }}' for steam in ("long", "short") for mix in "xy"
]

CASES = {
    "a square": (made_plan(SQUARE), Assumptions(missing=0, contaminated=0), ByCrossedModel),
    "several growers": (made_plan(GROWERS, "ACB"), CROP, ByCrossedModel),
    "a split plot": (made_plan(SPLIT, factors=STEAM_AND_MIX), CROP, ByModel),
    "blocks, four mixes": (plan(treatments=4, blocks=6, units=3, flushes=3), CROP, ByModel),
    "blocks, two mixes": (
        plan(blocks=5, units=2, aim='outcome = "yield"\nclaim = "no worse"\nworthwhile = "15 %"'),
        CROP,
        ByModel,
    ),
    "no blocks": (
        plan(
            treatments=3,
            layout="completely random",
            units=5,
            aim='outcome = "yield"\nclaim = "same"\nworthwhile = "60 g"',
        ),
        CROP,
        ByModel,
    ),
    "batches in blocks": (plan(treatments=3, blocks=4, units=1, batch=4), CROP, ByModel),
    "batches": (plan(layout="completely random", units=4, batch=5, flushes=1), CROP, ByModel),
    "losses": (
        plan(layout="completely random", treatments=3, units=20, aim=LOSSES.format("no worse")),
        CROP,
        ByCounts,
    ),
    "losses, better": (
        plan(layout="completely random", units=15, aim='outcome = "contamination"'),
        CROP,
        ByCounts,
    ),
    "losses in blocks": (
        plan(treatments=3, blocks=4, units=5, aim=LOSSES.format("same")),
        CROP,
        ByCounts,
    ),
    "losses of batches": (
        plan(
            treatments=3,
            layout="completely random",
            units=5,
            batch=8,
            aim=LOSSES.format("no worse"),
        ),
        CROP,
        ByShares,
    ),
    "rare losses of batches": (
        plan(layout="completely random", units=5, batch=10, aim=LOSSES.format("no worse")),
        RARE,
        ByShares,
    ),
    "common losses of batches": (
        plan(layout="completely random", units=4, batch=6, aim=LOSSES.format("same")),
        Assumptions(contaminated=0.93),
        ByShares,
    ),
    "flush drop": (
        plan(blocks=4, units=2, flushes=3, aim=FLUSHES),
        CROP,
        ByKeptShares,
    ),
    "flush drop, three mixes, no blocks": (
        plan(treatments=3, layout="completely random", units=5, flushes=3, aim=FLUSHES),
        CROP,
        ByKeptShares,
    ),
    "flush drop, one bag a block": (
        plan(treatments=3, blocks=4, units=1, flushes=4, aim=FLUSHES),
        CROP,
        ByKeptShares,
    ),
    "flush drop, half of it gone": (
        plan(treatments=4, blocks=3, units=2, flushes=3, aim=FLUSHES),
        Assumptions(missing=0.1, contaminated=0.3, flush_fails=0.4),
        ByKeptShares,
    ),
    "flush drop of batches": (
        plan(treatments=3, layout="completely random", units=5, batch=8, flushes=3, aim=FLUSHES),
        CROP,
        ByKeptShares,
    ),
    "flush drop of batches in blocks": (
        plan(treatments=3, blocks=4, units=1, batch=4, flushes=3, aim=FLUSHES),
        CROP,
        ByKeptShares,
    ),
    "days to pins": (
        plan(blocks=4, units=2, aim='outcome = "days to pins"\nworthwhile = "3 days"'),
        CROP,
        Singly,
    ),
}


FEW, MANY = 5, 40
"""Trials of each case among the fast tests, and among the slow ones."""


def _both(trial, crop, count):
    """Draw trials, analyse them at once, and give each one's records beside it."""
    layout = draw(trial)
    world = hoped(trial, crop)
    analyst = analyst_of(trial, layout, world, crop)
    drawn = draw_trials(
        places(trial, layout), world.truth, crop, flushes=trial.flushes, trials=count,
        generator=np.random.default_rng(7), looks=look_days(trial, crop),
    )  # fmt: skip
    limits = analyst.finish(analyst.chunk(drawn))
    records = [to_records(trial, layout, drawn, which) for which in range(count)]
    return analyst, limits, records


@pytest.mark.parametrize("name", CASES)
def test_estimates_intervals_and_verdicts_agree(name):
    _compare_both_ways(name, FEW)


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_they_agree_in_many_trials(name):
    _compare_both_ways(name, MANY)


def _compare_both_ways(name, count):
    trial, crop, kind = CASES[name]
    analyst, limits, records = _both(trial, crop, count)
    assert isinstance(analyst, kind)
    codes = judge_many(limits, trial.aim)
    # The joint limit of three or more shares kept is that of the nearest family with one control.
    close = 1e-5 if kind is ByKeptShares and len(trial.challengers) > 2 else 1e-6
    compared = 0
    for which, one in enumerate(records):
        answer = planned_answer(one)
        worth = margins(trial.aim.worthwhile, limits.control)[which]
        for place, estimate in enumerate(answer.estimates):
            judged = judge(
                estimate, claim=trial.aim.claim,
                worthwhile=None if math.isnan(worth) else float(worth),
            )  # fmt: skip
            assert VERDICTS[codes[place, which]] == judged.verdict
            if estimate.withheld:
                assert math.isnan(limits.low[place, which])
                continue
            told = [part[place, which] for part in (limits.value, limits.low, limits.high)]
            width = estimate.high - estimate.low
            assert told == pytest.approx(
                [estimate.value, estimate.low, estimate.high], abs=close * width
            )
            assert told[0] == pytest.approx(estimate.value, abs=1e-8 * width)
            compared += 1
    assert compared > count / 2


def test_rare_losses_of_batches_in_blocks_are_analysed():
    trial = plan(treatments=3, blocks=3, units=1, batch=10, aim=LOSSES.format("no worse"))
    _, _, records = _both(trial, RARE, 15)
    for one in records:
        planned_answer(one)


@pytest.mark.parametrize("name", ["blocks, two mixes", "losses of batches"])
def test_the_findings_of_the_whole_analysis_agree(name):
    trial, crop, _ = CASES[name]
    _, limits, records = _both(trial, crop, 1)
    codes = judge_many(limits, trial.aim)
    for which, one in enumerate(records):
        aim = [
            finding
            for finding in analyse(one).findings
            if finding.estimate.outcome == trial.aim.outcome
        ][: len(trial.challengers)]
        assert [finding.verdict for finding in aim] == [VERDICTS[c] for c in codes[:, which]]
        for place, finding in enumerate(aim):
            assert finding.claim == trial.aim.claim
            assert finding.worthwhile == pytest.approx(
                margins(trial.aim.worthwhile, limits.control)[which], rel=1e-8
            )
            if not finding.estimate.withheld:
                assert limits.low[place, which] == pytest.approx(finding.estimate.low, rel=1e-6)


def test_a_margin_in_per_cent_of_nothing_is_withheld_alike():
    aim = 'outcome = "yield"\nclaim = "no worse"\nworthwhile = "20 %"'
    trial = plan(layout="completely random", units=2, flushes=1, aim=aim)
    _, limits, records = _both(trial, Assumptions(contaminated=0.6, late_losses=0), 8)
    codes = judge_many(limits, trial.aim)
    for which, one in enumerate(records):
        found = [each for each in analyse(one).findings if each.id == "yield-started-T2"]
        # Where no bag gave anything there is no yield to find.
        assert VERDICTS[codes[0, which]] == (found[0].verdict if found else "withheld")
    barely = np.abs(limits.control) < 1e-9
    assert (codes[0, barely] == VERDICTS.index("withheld")).all()
    assert (limits.control[barely] > 0).any()

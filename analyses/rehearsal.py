"""Rehearse a planned trial: simulate it many times and run the very analysis that the plan names.

To add an outcome: give it a truth in `rehearsing.truth`, and, where one by one is too slow, an
analysis of many trials at once beside `rehearsing.yields`, `losses` and `kept_shares`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Protocol, TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.rehearsing.crossed import ByCrossedModel, by_crossed_model
from analyses.rehearsing.fit import Limits
from analyses.rehearsing.kept_shares import ByKeptShares, by_kept_shares
from analyses.rehearsing.losses import by_counts, by_shares
from analyses.rehearsing.rates import coverage_of, mean_width, rate, rate_of_errors
from analyses.rehearsing.singly import Singly
from analyses.rehearsing.truth import Scenario, hoped, nothing
from analyses.rehearsing.verdicts import VERDICTS, are_wrong, judge_many
from analyses.rehearsing.yields import by_model
from analyses.unit import unit_story
from analyses.yields import STARTED, yield_sample
from trials.assumptions import Assumptions
from trials.designs import draw
from trials.layout import Layout
from trials.simulate import Places, Simulated, draw_trials, places
from trials.simulated_days import look_days
from trials.simulated_records import to_records
from trials.trial import Margin, Trial

__all__ = [
    "CHUNK",
    "FLUSH_CHUNK",
    "SLOW_CHUNK",
    "Analyst",
    "Rehearsal",
    "analyst_of",
    "rehearse",
    "rehearse_hoped",
]

Array: TypeAlias = npt.NDArray[np.float64]

CHUNK = 500
"""Trials that are simulated from one seed, whatever the number of workers."""

FLUSH_CHUNK = 100
"""The same where each trial is fitted from many starts."""

SLOW_CHUNK = 20
"""The same where trials are analysed one after another."""


class Analyst(Protocol):
    """Analyses many simulated trials: some at a time, then all together."""

    def chunk(self, simulated: Simulated) -> dict[str, Array]:
        """Give what `finish` needs of some trials, the trial as last axis."""
        ...

    def finish(self, parts: dict[str, Array]) -> Limits:
        """Give the intervals of all trials."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsal:
    """What many rehearsals of one plan gave; each ``_error`` is a Monte-Carlo standard error.

    Parameters
    ----------
    trials : int
        How many were rehearsed in each of the two worlds.
    seed : int
        The seed.
    comparisons : int
        Comparisons with the control in each trial.
    difference : float
        True difference of every treatment from the control in the world hoped for, in `unit`.
    unit : str
        ``g``, ``bags in 100``, ``in 100`` or ``days``.
    power, power_error : float
        Chance that a comparison ends as hoped: shown (with its size open, for "better").
    power_any, power_all : float
        Chance that this is so of at least one comparison, and of all.
    wrong, wrong_error : float
        Chance that the verdict of a comparison says what is not true, in the world hoped for.
    verdicts : dict of str to float
        Share of the comparisons by verdict, in the world hoped for.
    verdicts_error : dict of str to float
        Their errors.
    interval_width, interval_width_error : float
        Mean width of the interval, in `unit`.
    coverage, coverage_error : float
        Share of the trials in which all intervals together hold the truth.
    error_rate, error_rate_error : float
        Share of the trials in which at least one comparison finds what is not there: for "better"
        a difference, more or less, where nothing differs; for "no worse" and "same" the claim,
        where every treatment is worse than the control by just the margin.
    verdicts_nothing : dict of str to float
        Share of the comparisons by verdict in that other world.
    assumptions : Assumptions
        How the crop was taken to vary.
    limits_error : float
        Largest relative error of the interval's critical value that was seen.
    """

    trials: int
    seed: int
    comparisons: int
    difference: float
    unit: str
    power: float
    power_error: float
    power_any: float
    power_all: float
    wrong: float
    wrong_error: float
    verdicts: dict[str, float]
    verdicts_error: dict[str, float]
    interval_width: float
    interval_width_error: float
    coverage: float
    coverage_error: float
    error_rate: float
    error_rate_error: float
    verdicts_nothing: dict[str, float]
    assumptions: Assumptions
    limits_error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    """One chunk of trials in the worlds that are rehearsed."""

    analyst: Analyst
    units: Places
    worlds: tuple[Scenario, ...]
    assumptions: Assumptions
    flushes: int
    looks: Array
    trials: int
    seeds: np.random.SeedSequence


def rehearse(
    trial: Trial,
    trials: int = 1000,
    seed: int | None = None,
    executor: Executor | None = None,
    *,
    assumptions: Assumptions | None = None,
    effect: Margin | None = None,
    progress: Callable[[int], object] | None = None,
) -> Rehearsal:
    """Rehearse a planned trial.

    Parameters
    ----------
    trial : Trial
        The plan.
    trials : int
        How many times, 2 or more.
    seed : int, optional
        Seed of the luck; the plan's own when not given. The result depends on it alone, not on
        the number of workers.
    executor : concurrent.futures.Executor, optional
        Workers: a pool of processes, or a cluster's executor of the same kind.
    assumptions : Assumptions, optional
        How the crop varies; `Assumptions()` when not given.
    effect : Margin, optional
        How much better every treatment is in the world hoped for; see `rehearsed_truth.hoped`.
    progress : callable, optional
        Told how many trials have been rehearsed since it was told before.

    Returns
    -------
    Rehearsal

    Raises
    ------
    Refused
        A layout that cannot be drawn, or an impossible truth.
    ValueError
        Fewer than two trials.

    Notes
    -----
    The same luck is drawn for both worlds, chunk by chunk from seeds spawned of one sequence.
    """
    if trials < 2:
        raise ValueError(f"rehearse at least 2 trials, not {trials}")
    chosen = trial.design.seed if seed is None else seed
    crop = Assumptions() if assumptions is None else assumptions
    worlds = (hoped(trial, crop, effect), nothing(trial, crop))
    limits = _in_worlds(trial, trials, chosen, executor, crop, worlds, progress)
    return _told(trial, trials, chosen, crop, worlds, limits)


def rehearse_hoped(
    trial: Trial,
    trials: int,
    seed: int,
    executor: Executor | None = None,
    *,
    assumptions: Assumptions,
    effect: Margin | None = None,
    progress: Callable[[int], object] | None = None,
) -> tuple[Scenario, Limits]:
    """Rehearse a trial in the world hoped for alone, and give its intervals as they are.

    Parameters
    ----------
    trial, trials, seed, executor, assumptions, effect, progress
        As `rehearse` takes them.

    Returns
    -------
    tuple of (Scenario, Limits)
    """
    if trials < 2:
        raise ValueError(f"rehearse at least 2 trials, not {trials}")
    world = hoped(trial, assumptions, effect)
    (limits,) = _in_worlds(trial, trials, seed, executor, assumptions, (world,), progress)
    return world, limits


def _in_worlds(
    trial: Trial,
    trials: int,
    seed: int,
    executor: Executor | None,
    crop: Assumptions,
    worlds: tuple[Scenario, ...],
    progress: Callable[[int], object] | None,
) -> list[Limits]:
    """Simulate and analyse the trials in chunks, in every world with the same luck."""
    layout = draw(trial)
    units = places(trial, layout)
    analyst = analyst_of(trial, layout, worlds[0], crop)
    sizes = _chunks(trials, analyst)
    tasks = [
        _Task(
            analyst=analyst, units=units, worlds=worlds, assumptions=crop,
            flushes=trial.flushes, looks=look_days(trial, crop), trials=size, seeds=seeds,
        )
        for size, seeds in zip(sizes, np.random.SeedSequence(seed).spawn(len(sizes)), strict=True)
    ]  # fmt: skip
    parts = []
    for size, part in zip(sizes, _run_all(tasks, executor), strict=True):
        parts.append(part)
        if progress is not None:
            progress(size)
    return [
        analyst.finish(_joined([part[world] for part in parts])) for world in range(len(worlds))
    ]


def _chunks(trials: int, analyst: Analyst) -> list[int]:
    """Share trials out: fewer at a time where each is analysed by itself, to show progress."""
    most = CHUNK
    if isinstance(analyst, (Singly, ByCrossedModel)):
        most = SLOW_CHUNK
    elif isinstance(analyst, ByKeptShares):
        most = FLUSH_CHUNK
    return [min(most, trials - start) for start in range(0, trials, most)]


def analyst_of(trial: Trial, layout: Layout, world: Scenario, assumptions: Assumptions) -> Analyst:
    """Give the analysis that the plan names, made for many trials.

    Parameters
    ----------
    trial : Trial
    layout : Layout
    world : Scenario
        Any; one trial is drawn from it, to see which analysis its records call for.
    assumptions : Assumptions

    Returns
    -------
    Analyst
        At once for yield with nested random terms, for contamination, and for the share kept of a
        flush; else trial by trial.
    """
    clean = draw_trials(
        places(trial, layout), world.truth, assumptions, flushes=trial.flushes, trials=1,
        generator=np.random.default_rng(0),
    )  # fmt: skip
    whole = Simulated(
        grams=np.nan_to_num(clean.grams, nan=1.0),
        missing=np.zeros_like(clean.missing),
        lost=np.zeros_like(clean.lost),
    )
    records = to_records(trial, layout, whole, 0)
    unit, level = unit_story(records), trial.aim.confidence
    if trial.aim.outcome == "contamination":
        if unit.counted == "batch":
            return by_shares(records, level=level)
        return by_counts(records, level=level)
    if trial.aim.outcome == "yield":
        sample = yield_sample(records, unit, STARTED)
        found = by_model(records, sample, level=level)
        return by_crossed_model(records, sample, level=level) if found is None else found
    singly = Singly(trial=trial, layout=layout)
    if trial.aim.outcome == "flush drop":
        return by_kept_shares(records, unit, level=level) or singly
    return singly


def _run_all(tasks: list[_Task], executor: Executor | None) -> Iterator[list[dict[str, Array]]]:
    if executor is None:
        yield from map(_run, tasks)
        return
    for future in [executor.submit(_run, task) for task in tasks]:
        yield future.result()


def _run(task: _Task) -> list[dict[str, Array]]:
    """Simulate one chunk and analyse it, in every world with the same luck."""
    found = []
    for world in task.worlds:
        simulated = draw_trials(
            task.units, world.truth, task.assumptions, flushes=task.flushes, trials=task.trials,
            generator=np.random.default_rng(task.seeds), looks=task.looks,
        )  # fmt: skip
        found.append(task.analyst.chunk(simulated))
    return found


def _joined(parts: list[dict[str, Array]]) -> dict[str, Array]:
    return {name: np.concatenate([part[name] for part in parts], axis=-1) for name in parts[0]}


def _told(
    trial: Trial,
    trials: int,
    seed: int,
    assumptions: Assumptions,
    worlds: tuple[Scenario, ...],
    limits: list[Limits],
) -> Rehearsal:
    """Sum up what the trials gave."""
    world, (here, there) = worlds[0], limits
    aim = trial.aim
    codes, null_codes = judge_many(here, aim), judge_many(there, aim)
    good = VERDICTS.index("shown, size open") if aim.claim == "better" else 0
    found = codes <= good
    shares = {word: rate(codes == code) for code, word in enumerate(VERDICTS)}
    power, wrong = rate(found), rate(are_wrong(codes, aim, world.difference, world.margin))
    wide, held = mean_width(here), coverage_of(here, world.difference)
    mistaken = rate_of_errors(there, null_codes, trial)
    return Rehearsal(
        trials=trials,
        seed=seed,
        comparisons=len(codes),
        difference=world.difference,
        unit=world.unit,
        power=power[0],
        power_error=power[1],
        power_any=float(found.any(axis=0).mean()),
        power_all=float(found.all(axis=0).mean()),
        wrong=wrong[0],
        wrong_error=wrong[1],
        verdicts={word: share for word, (share, _) in shares.items()},
        verdicts_error={word: error for word, (_, error) in shares.items()},
        interval_width=wide[0],
        interval_width_error=wide[1],
        coverage=held[0],
        coverage_error=held[1],
        error_rate=mistaken[0],
        error_rate_error=mistaken[1],
        verdicts_nothing={
            word: float((null_codes == code).mean()) for code, word in enumerate(VERDICTS)
        },
        assumptions=assumptions,
        limits_error=max(here.error, there.error),
    )

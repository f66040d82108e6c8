"""Simulate a scene in three worlds and analyse every trial in it by the analysis of the plan."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.rehearsal import analyst_of
from analyses.rehearsing.fit import Limits
from analyses.rehearsing.truth import Scenario, hoped, nothing
from tests.calibration.scenes import Scene
from trials.assumptions import expected_share
from trials.designs import draw
from trials.simulate import Simulated, draw_trials, places
from trials.trial import Claim

__all__ = ["WORLDS", "Analysed", "World", "analysed", "drawn", "world"]

World: TypeAlias = Literal["nothing", "gain", "loss"]
WORLDS: tuple[World, ...] = ("nothing", "gain", "loss")
"""No difference; every treatment better, or worse, than the control by just the margin."""

CHUNK = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysed:
    """The trials of one scene in one world.

    Parameters
    ----------
    limits : Limits
        For all comparisons of a trial together.
    parts : dict of str to array
        What the analysis gave besides, the trial as last axis.
    truth : Scenario
    """

    limits: Limits
    parts: dict[str, npt.NDArray[np.float64]]
    truth: Scenario


def world(scene: Scene, which: World) -> Scenario:
    """Say what is true."""
    if which == "gain":
        found = hoped(scene.trial, scene.crop, scene.margin)
    else:
        found = nothing(scene.claiming("better" if which == "nothing" else "no worse"), scene.crop)
    if not scene.lost:
        return found
    # What is lost more often gives as much more where it is not lost.
    given = [expected_share(scene.crop, scene.trial.flushes, one) for one in scene.lost]
    usual = expected_share(scene.crop, scene.trial.flushes, scene.crop.contaminated)
    means = tuple(mean * usual / one for mean, one in zip(found.truth.means, given, strict=True))
    return replace(found, truth=replace(found.truth, means=means, lost=scene.lost))


def drawn(scene: Scene, which: World, trials: int, seed: int) -> Iterator[Simulated]:
    """Draw trials, some at a time; all worlds share their luck."""
    units = places(scene.trial, draw(scene.trial))
    truth = world(scene, which).truth
    sizes = [min(CHUNK, trials - start) for start in range(0, trials, CHUNK)]
    for size, one in zip(sizes, np.random.SeedSequence(seed).spawn(len(sizes)), strict=True):
        luck, mishap = (np.random.default_rng(each) for each in one.spawn(2))
        yield scene.spoilt(
            draw_trials(
                units, truth, scene.crop, flushes=scene.trial.flushes, trials=size, generator=luck
            ),
            mishap,
        )


def analysed(
    scene: Scene, which: World, trials: int, seed: int, claim: Claim = "better"
) -> Analysed:
    """Analyse many trials of a scene at once, as a rehearsal does."""
    trial, truth = scene.claiming(claim), world(scene, which)
    analyst = analyst_of(trial, draw(trial), truth, scene.crop)
    chunks = [analyst.chunk(some) for some in drawn(scene, which, trials, seed)]
    parts = {name: np.concatenate([one[name] for one in chunks], axis=-1) for name in chunks[0]}
    return Analysed(limits=analyst.finish(parts), parts=parts, truth=truth)

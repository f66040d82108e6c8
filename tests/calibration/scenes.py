"""Twelve trials that a grower could really meet, from comfortable to hard.

Each says how the trial is laid out, how the crop varies, and the smallest difference worth having,
which is also the margin of "no worse" and "same".
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.trials.plans import plan
from trials.assumptions import Assumptions
from trials.simulate import Simulated
from trials.trial import Claim, Margin, Trial

__all__ = ["SCENES", "Scene"]

OUTLIER = 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """One kind of trial.

    Parameters
    ----------
    name : str
        For the table.
    trial : Trial
        The plan, with the claim "better".
    crop : Assumptions
        How bags, shelves, batches and flushes vary.
    outlier : bool
        Whether one bag of every trial, any of them, is written down at 2.5 times its weight.
    lost : tuple of float
        Share of the bags lost of each treatment, where the treatments differ in it; a bag started
        gives on average what it gives where they do not.
    """

    name: str
    trial: Trial
    crop: Assumptions
    outlier: bool = False
    lost: tuple[float, ...] = ()

    @property
    def margin(self) -> Margin:
        """The smallest difference worth having."""
        margin = self.trial.aim.worthwhile
        assert margin is not None
        return margin

    def claiming(self, claim: Claim) -> Trial:
        """Give the plan with another claim."""
        return replace(self.trial, aim=replace(self.trial.aim, claim=claim))

    def spoilt(self, simulated: Simulated, generator: np.random.Generator) -> Simulated:
        """Put the outlier in, where there is one."""
        if not self.outlier:
            return simulated
        grams = simulated.grams.copy()
        trials = grams.shape[2]
        grams[generator.integers(0, len(grams), trials), :, np.arange(trials)] *= OUTLIER
        return replace(simulated, grams=grams)


def _yield(margin: str) -> str:
    return f'outcome = "yield"\nworthwhile = "{margin}"'


def _losses(margin: str) -> str:
    return f'outcome = "contamination"\nworthwhile = "{margin}"'


SCENES = (
    Scene(
        name="2 mixes, 4 shelves all alike, 1 bag of each, 1 flush, nothing lost",
        trial=plan(treatments=2, blocks=4, units=1, flushes=1, aim=_yield("20 %")),
        crop=Assumptions(cv_block=0, contaminated=0, missing=0),
    ),
    Scene(
        name="2 mixes, no shelves, 6 bags of each, 2 flushes, 10 % lost",
        trial=plan(
            treatments=2, layout="completely random", units=6, flushes=2, aim=_yield("80 g")
        ),
        crop=Assumptions(contaminated=0.10),
    ),
    Scene(
        name="4 mixes, 6 shelves, 3 bags of each, 3 flushes, 8 % lost",
        trial=plan(treatments=4, blocks=6, units=3, flushes=3, aim=_yield("15 %")),
        crop=Assumptions(contaminated=0.08),
    ),
    Scene(
        name="6 mixes, 8 very unlike days, 1 bag of each, 2 flushes, 5 % lost",
        trial=plan(treatments=6, blocks=8, units=1, flushes=2, aim=_yield("60 g")),
        crop=Assumptions(cv_block=0.35, cv=0.15, cv_flush=0.10),
    ),
    Scene(
        name="2 mixes, 5 shelves, 3 bags of each, 4 flushes, 15 % lost, bags very unlike",
        trial=plan(treatments=2, blocks=5, units=3, flushes=4, aim=_yield("25 %")),
        crop=Assumptions(cv=0.40, contaminated=0.15, flush_fails=0.10),
    ),
    Scene(
        name="3 mixes, 3 shelves, 1 bag of each, 1 flush, very skewed yields",
        trial=plan(treatments=3, blocks=3, units=1, flushes=1, aim=_yield("100 g")),
        crop=Assumptions(cv=0.60, cv_block=0.25, contaminated=0, missing=0),
    ),
    Scene(
        name="3 mixes, 5 shelves, 2 bags of each, 3 flushes, one bag at 2.5 times its weight",
        trial=plan(treatments=3, blocks=5, units=2, flushes=3, aim=_yield("20 %")),
        crop=Assumptions(contaminated=0.02),
        outlier=True,
    ),
    Scene(
        name="3 mixes, 5 shelves, 1 bag of each, 3 flushes, 25 % lost, weights forgotten",
        trial=plan(treatments=3, blocks=5, units=1, flushes=3, aim=_yield("100 g")),
        crop=Assumptions(contaminated=0.25, missing=0.03),
    ),
    Scene(
        name="2 mixes, 6 shelves, 2 bags of each, 3 flushes, 5 % lost of one and 25 % of the other",
        trial=plan(treatments=2, blocks=6, units=2, flushes=3, aim=_yield("80 g")),
        crop=Assumptions(contaminated=0.05),
        lost=(0.05, 0.25),
    ),
    Scene(
        name="2 heat treatments, 5 batches of 6 bags of each, 2 flushes, yield",
        trial=plan(layout="completely random", units=5, batch=6, flushes=2, aim=_yield("20 %")),
        crop=Assumptions(cv_batch=0.20, contaminated=0.08, batch_correlation=0.15),
    ),
    Scene(
        name="2 heat treatments, 6 batches of 10 bags of each, 15 % lost, losses",
        trial=plan(layout="completely random", units=6, batch=10, aim=_losses("10 in 100")),
        crop=Assumptions(contaminated=0.15, batch_correlation=0.10),
    ),
    Scene(
        name="2 spawns, 5 shelves, 8 bags of each, 20 % lost, losses",
        trial=plan(blocks=5, units=8, aim=_losses("15 in 100")),
        crop=Assumptions(contaminated=0.20, batch_correlation=0),
    ),
)
"""From comfortable to hard."""

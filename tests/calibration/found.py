"""What simulated trials of a scene gave: error rates, coverage, bias and wrong verdicts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias, get_args

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from analyses.rehearsing.verdicts import VERDICTS, judge_many
from tests.calibration.peer import peer_limits
from tests.calibration.scenes import Scene
from tests.calibration.worlds import WORLDS, Analysed, analysed
from trials.trial import Claim

__all__ = ["WRONG", "Found", "Rate", "find_out"]

Array: TypeAlias = npt.NDArray[np.float64]
Flags: TypeAlias = npt.NDArray[np.bool_]

WRONG = {
    "better, shown: nothing differs": ("better", "nothing", ("shown", "shown, size open")),
    "better, ruled out: it is just worth having": ("better", "gain", ("ruled out",)),
    "no worse, shown: it is worse by the margin": ("no worse", "loss", ("shown",)),
    "no worse, ruled out: it is worse by no more": ("no worse", "loss", ("ruled out",)),
    "same, shown: it is worse by the margin": ("same", "loss", ("shown",)),
    "same, shown: it is better by the margin": ("same", "gain", ("shown",)),
    "same, ruled out: it differs by no more": ("same", "loss", ("ruled out",)),
}
"""Each wrong verdict: the claim, the world in which it is wrong or just not right, the words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """A share or a mean over trials, in per cent, with its Monte-Carlo standard error."""

    value: float
    error: float
    trials: int

    def __str__(self) -> str:
        return f"{self.value:.2f}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One row of the table; rates in per cent of trials.

    Parameters
    ----------
    scene : Scene
    error : Rate
        Trials in which at least one difference is claimed where nothing differs.
    coverage : Rate
        Trials in which all ranges together hold the truth, which is the smallest difference worth
        having.
    error_alone, coverage_alone : Rate
        The same of single comparisons, each by itself.
    peer_error, peer_coverage : Rate or None
        Of single comparisons by the mixed model of statsmodels.
    peer_failed : Rate or None
        Single comparisons for which statsmodels gives no range.
    withheld : Rate
        Single comparisons that no verdict is given on.
    bias : Rate
        Mean of the estimates less the truth, in per cent of the control's mean.
    wrong : dict of str to Rate
        Trials in which at least one comparison gets a verdict of `WRONG`.
    """

    scene: Scene
    error: Rate
    coverage: Rate
    error_alone: Rate
    coverage_alone: Rate
    peer_error: Rate | None
    peer_coverage: Rate | None
    peer_failed: Rate | None
    withheld: Rate
    bias: Rate
    wrong: dict[str, Rate]


def find_out(scene: Scene, trials: int, seed: int, *, peer_trials: int = 0) -> Found:
    """Simulate and analyse a scene.

    Parameters
    ----------
    scene : Scene
    trials : int
        In each world.
    seed : int
    peer_trials : int
        How many of them statsmodels fits too; 0 leaves it out.
    """
    kept = {
        claim: {which: analysed(scene, which, trials, seed, claim) for which in WORLDS}
        for claim in _claims(scene)
    }
    plain = next(iter(kept.values()))
    level = scene.trial.aim.confidence
    no, gain = plain["nothing"], plain["gain"]
    alone = {which: _alone(one, level) for which, one in plain.items()}
    peer = peer_limits(scene, "nothing", peer_trials, seed) if peer_trials else None
    peer_gain = peer_limits(scene, "gain", peer_trials, seed) if peer_trials else None
    by_family = np.stack([no.limits.low, no.limits.high])
    by_family_gain = np.stack([gain.limits.low, gain.limits.high])
    truth = gain.truth.difference
    return Found(
        scene=scene,
        error=_rate(_claims_difference(by_family).any(axis=0)),
        coverage=_rate(_holds(by_family_gain, truth).all(axis=0)),
        error_alone=_rate(_claims_difference(alone["nothing"])),
        coverage_alone=_rate(_holds(alone["gain"], truth)),
        peer_error=None if peer is None else _rate(_known(_claims_difference(peer), peer)),
        peer_coverage=(
            None if peer_gain is None else _rate(_known(_holds(peer_gain, truth), peer_gain))
        ),
        peer_failed=None if peer is None else _rate(np.isnan(peer).any(axis=0)),
        withheld=_rate(~np.isfinite(by_family).all(axis=0)),
        bias=_rate((gain.limits.value - truth) / gain.truth.control),
        wrong=_wrong(scene, kept),
    )


def _claims(scene: Scene) -> tuple[Claim, ...]:
    """Give the claims that are analysed differently: yields are alike whatever is claimed."""
    return get_args(Claim) if scene.trial.aim.outcome == "contamination" else ("better",)


def _alone(one: Analysed, level: float) -> Array:
    """Give the limits of each comparison by itself."""
    limits = one.limits
    if len(limits.value) == 1:
        return np.stack([limits.low, limits.high])
    reach = stdtrit(one.parts["df"], (1 + level) / 2) * np.sqrt(
        np.einsum("iit->it", one.parts["covariance"])
    )
    return np.stack([limits.value - reach, limits.value + reach])


def _claims_difference(limits: Array) -> Flags:
    return (limits[0] > 0) | (limits[1] < 0)


def _holds(limits: Array, truth: float) -> Flags:
    """Say which ranges hold the truth; where none is given nothing false is said."""
    return ~((limits[0] > truth) | (limits[1] < truth))


def _known(flags: Flags, limits: Array) -> Array:
    return np.where(np.isfinite(limits).all(axis=0), flags, np.nan)


def _rate(each: Flags | Array) -> Rate:
    """Give the mean over trials in per cent; the comparisons of a trial hang together."""
    by_trial = 100 * np.asarray(each, float)
    if by_trial.ndim > 1:
        there = np.isfinite(by_trial)
        some = there.any(axis=0)
        by_trial = np.where(there, by_trial, 0.0).sum(axis=0)[some] / there.sum(axis=0)[some]
    by_trial = by_trial[np.isfinite(by_trial)]
    count = len(by_trial)
    error = float(by_trial.std(ddof=1) / math.sqrt(count))
    return Rate(value=float(by_trial.mean()), error=error, trials=count)


def _wrong(scene: Scene, kept: dict[Claim, dict[str, Analysed]]) -> dict[str, Rate]:
    found = {}
    for name, (claim, which, words) in WRONG.items():
        one = kept.get(claim, kept["better"])[which]
        codes = judge_many(one.limits, scene.claiming(claim).aim)
        chosen = np.isin(codes, [VERDICTS.index(word) for word in words])
        found[name] = _rate(chosen.any(axis=0))
    return found

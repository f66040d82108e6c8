"""The mixed model of statsmodels with its normal intervals, on the same simulated trials."""

from __future__ import annotations

import warnings
from itertools import chain

import numpy as np
import numpy.typing as npt
from statsmodels.regression.mixed_linear_model import MixedLM

from tests.calibration.scenes import Scene
from tests.calibration.worlds import World, drawn
from trials.designs import draw
from trials.simulate import Simulated, places

__all__ = ["peer_limits"]

Array = npt.NDArray[np.float64]


def peer_limits(scene: Scene, which: World, trials: int, seed: int) -> Array | None:
    """Fit totals, or lost or not as 100 and 0, with a random batch, else shelf.

    Parameters
    ----------
    scene : Scene
    which : {"nothing", "gain", "loss"}
    trials : int
        The first so many of those that `analysed` analyses.
    seed : int

    Returns
    -------
    array, shape (2, challengers, trials), or None
        95 % limits of each difference from the control by itself; NaN where the fit fails. None
        where the layout has neither batches nor shelves.
    """
    units = places(scene.trial, draw(scene.trial))
    groups = units.clusters
    if groups is None:
        return None
    design = np.eye(len(scene.trial.treatments))[units.treatment]
    design[:, 0] = 1.0  # the control comes first in every scene
    responses = chain.from_iterable(
        _responses(scene, some).T for some in drawn(scene, which, trials, seed)
    )
    fitted = [_limits(response, design, groups) for response in responses]
    return np.stack(fitted, axis=-1)


def _responses(scene: Scene, simulated: Simulated) -> Array:
    if scene.trial.aim.outcome == "contamination":
        return 100.0 * simulated.lost
    return simulated.totals


def _limits(response: Array, design: Array, groups: npt.NDArray[np.intp]) -> Array:
    there = np.isfinite(response)
    blank = np.full((2, design.shape[1] - 1), np.nan)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            fit = MixedLM(response[there], design[there], groups[there]).fit(reml=True)
            limits = fit.conf_int()[1 : design.shape[1]].T
        except (np.linalg.LinAlgError, ValueError):
            return blank
    return np.where(np.isfinite(limits).all(axis=0), limits, np.nan)

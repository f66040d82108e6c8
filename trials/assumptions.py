"""What a simulated trial takes for granted: how bags, shelves, batches and flushes vary."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

__all__ = ["Assumptions", "Spread", "expected_share", "flush_shares"]

Array: TypeAlias = npt.NDArray[np.float64]
Spread: TypeAlias = Literal["log-normal", "normal"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumptions:
    """How a crop behaves; every share lies between 0 and 1.

    Parameters
    ----------
    mean : float
        Grams that a bag of the control gives when it is not lost and every flush comes.
        Default 400: within the 200-900 g of published bags (Baysal et al. 2003, Bioresour.
        Technol. 89, 95; PMC7407021, table 2).
    cv : float
        Standard deviation of the totals of bags alike in treatment, block and batch, over their
        mean; flushes that fail and bags that are lost come on top. Default 0.20, the middle of
        the published 9-36 % (the same two tables).
    cv_block : float
        The same between blocks (shelves, days, rooms). Default 0.10: common practice, no source.
    cv_batch : float
        The same between batches mixed and heat-treated apart. Default 0.10: common practice, no
        source.
    cv_grower, cv_grower_treatment : float
        The same between growers, where several take part, and of what a treatment gives at one of
        them. Defaults 0.15 and 0.05: common practice, no source.
    cv_flush : float
        The same of one flush about what its bag promised, within `cv`. Default 0.15: common
        practice, no source; published flushes have the same 19-22 % each (Advances in
        Agriculture 2019, 6853627, table 3).
    kept : float
        Share of a flush that the next one keeps. Default 0.54, the geometric mean of the same
        table's successive ratios 0.65, 0.41, 0.61.
    flush_fails : float
        Chance that a flush after the first gives nothing. Default 0.03: common practice, no source.
    contaminated : float
        Share of the control's bags that are lost. Default 0.05: common practice, 1-5 % where
        sterilised and 2-15 % where pasteurised.
    batch_correlation : float
        Intracluster correlation of losses within a batch; within a block where no batch is named.
        Default 0.05: common practice, no source.
    late_losses : float
        Share of the lost bags that are lost after they were picked at least once. Default 0.20:
        common practice, no source.
    missing : float
        Chance that a weight is not written down. Default 0.01: common practice, no source.
    days_colonise, days_pins : float
        Days after spawning by which half of the control's bags are white all over, and show pins.
        Defaults 18 and 28: common practice, no source (two to three weeks, and pins up to 14 days
        after opening).
    cv_days, cv_days_block : float
        Standard deviation of the logarithm of those days between bags alike, and between blocks.
        Defaults 0.15 and 0.05: common practice, no source.
    look_every : int
        Days between looks where the plan does not say. Default 2: common practice, no source.
    spread : {"log-normal", "normal"}
        Shape of every variation, always about a mean factor of 1. Log-normal by default, because
        flushes keep their CV while the mean falls sixfold (the same table).
    """

    mean: float = 400.0
    cv: float = 0.20
    cv_block: float = 0.10
    cv_batch: float = 0.10
    cv_grower: float = 0.15
    cv_grower_treatment: float = 0.05
    cv_flush: float = 0.15
    kept: float = 0.54
    flush_fails: float = 0.03
    contaminated: float = 0.05
    batch_correlation: float = 0.05
    late_losses: float = 0.20
    missing: float = 0.01
    days_colonise: float = 18.0
    days_pins: float = 28.0
    cv_days: float = 0.15
    cv_days_block: float = 0.05
    look_every: int = 2
    spread: Spread = "log-normal"

    def __post_init__(self) -> None:
        """Refuse what cannot be simulated."""
        for name in (
            "mean", "cv", "cv_block", "cv_batch", "cv_grower", "cv_grower_treatment", "cv_flush",
            "kept", "days_colonise", "days_pins", "cv_days", "cv_days_block",
        ):  # fmt: skip
            if not (math.isfinite(getattr(self, name)) and getattr(self, name) >= 0):
                raise ValueError(f"{name} must be a number from 0, got {getattr(self, name)}")
        for name in ("mean", "days_colonise", "days_pins"):
            if getattr(self, name) == 0:
                raise ValueError(f"{name} must be above 0")
        if self.look_every < 1:
            raise ValueError(f"look_every must be 1 or more, got {self.look_every}")
        for name in (
            "flush_fails", "contaminated", "batch_correlation", "late_losses", "missing",
        ):  # fmt: skip
            if not 0 <= getattr(self, name) < 1:
                raise ValueError(f"{name} must lie from 0 to below 1, got {getattr(self, name)}")
        if self.spread not in ("log-normal", "normal"):
            raise ValueError(f"spread is log-normal or normal, not {self.spread!r}")

    def cv_between_bags(self, flushes: int) -> float:
        """Give the part of `cv` that all flushes of a bag share.

        Parameters
        ----------
        flushes : int
            How many are picked.

        Raises
        ------
        ValueError
            When the flushes alone vary more than `cv` allows.

        Notes
        -----
        Of independent factors with mean 1 the product A (sum of s_k E_k) has 1 + cv^2 =
        (1 + a^2)(1 + f^2 sum s_k^2), with the shares s_k of the flushes.
        """
        own = 1 + self.cv_flush**2 * float((flush_shares(self.kept, flushes) ** 2).sum())
        square = (1 + self.cv**2) / own - 1
        if square < -1e-12:
            raise ValueError(
                f"flushes that vary by {self.cv_flush:g} make totals vary more than {self.cv:g}"
            )
        return math.sqrt(max(square, 0.0))


def flush_shares(kept: float, flushes: int) -> Array:
    """Give the share of the crop that each flush brings, adding up to 1, shape (flushes,).

    Parameters
    ----------
    kept : float
        Share of a flush that the next one keeps.
    flushes : int
        1 or more.

    Examples
    --------
    >>> flush_shares(0.5, 3).round(3).tolist()
    [0.571, 0.286, 0.143]
    """
    each: Array = kept ** np.arange(flushes, dtype=float)
    return np.asarray(each / each.sum())


def expected_share(assumptions: Assumptions, flushes: int, lost: float) -> float:
    """Give what a bag that is started brings on average, as a share of `mean`.

    Parameters
    ----------
    assumptions : Assumptions
    flushes : int
        How many are picked.
    lost : float
        Share of the bags that are lost.

    Notes
    -----
    A bag lost late was picked once or more, each number of flushes short of all equally likely.

    Examples
    --------
    >>> expected_share(Assumptions(flush_fails=0, late_losses=0), 3, 0.05)
    0.95
    """
    comes = np.where(np.arange(flushes) > 0, 1 - assumptions.flush_fails, 1.0)
    picked = np.cumsum(flush_shares(assumptions.kept, flushes) * comes)
    late = assumptions.late_losses if flushes > 1 else 0.0
    partial = float(picked[:-1].mean()) if flushes > 1 else 0.0
    return float((1 - lost) * picked[-1] + lost * late * partial)

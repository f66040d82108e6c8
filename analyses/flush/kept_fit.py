"""The fit behind the share of a flush that the next one keeps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.special import chdtrc

from analyses.comparison import DF_METHOD
from analyses.flush.counts import came_rows
from analyses.models.linear.arrays import Array, FitError
from analyses.models.linear.formula import random_words
from analyses.unit import UnitStory
from trials.records import Records

if TYPE_CHECKING:
    from analyses.models.mixed import MixedFit

__all__ = [
    "CALLED_FOR",
    "FEWEST",
    "MOST_ROWS_BY_FLUSH",
    "KeptFit",
    "fit_kept",
    "unit_slopes",
    "unusable",
]

CALLED_FOR = 0.01
"""Flushes get a residual variance each when equal ones are as unlikely as this."""

FEWEST = 2
"""Units of a treatment without which nothing can be compared."""

MOST_ROWS_BY_FLUSH = 20_000
"""Rows up to which each flush may have a residual variance of its own: with more it takes long."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptFit:
    """A fit of the logarithm of the weight of flushes that came.

    Parameters
    ----------
    fit : MixedFit
    common : MixedFit
        With one slope for all treatments.
    rows : dict of str to array
        Weights that give the slope of each treatment.
    common_row : array
        Weights that give the common slope.
    formula : str
        In Wilkinson and Rogers' notation.
    frame : pandas.DataFrame
        The flushes that came, of the treatments that are in the fit.
    spread_by_flush : bool
        Whether each flush has a residual variance of its own.
    spread_p : float
        Of equal ones, by likelihood ratio; NaN where that was not tried.
    """

    fit: MixedFit
    common: MixedFit
    rows: dict[str, Array]
    common_row: Array
    formula: str
    frame: pd.DataFrame
    spread_by_flush: bool
    spread_p: float


def unusable(records: Records, unit: UnitStory, code: str, came: pd.DataFrame | None = None) -> str:
    """Say why no share can be reckoned for a treatment; empty where one can.

    Parameters
    ----------
    records : Records
    unit : UnitStory
    code : str
        Of the treatment.
    """
    came = came_rows(records) if came is None else came
    mine, name = came[came["treatment"] == code], records.trial.treatment(code).name
    if mine["flush"].nunique() < FEWEST:
        return f"with “{name}” fewer than two flushes came, so there is no share to reckon"
    units = mine["batch" if unit.counted == "batch" else "bag"].nunique()
    if units < FEWEST and unit.counted == "batch":
        return "one batch a side cannot tell a better method from a luckier batch"
    if units < FEWEST:
        return f"with one {unit.counted} of “{name}” nothing shows how much they differ"
    return ""


def fit_kept(
    records: Records, unit: UnitStory, codes: list[str], *, spread: bool | None = None
) -> KeptFit:
    """Fit log weight = treatment + slope x (flush - 1) + block + bag to flushes that came.

    Parameters
    ----------
    records : Records
    unit : UnitStory
        Where batches count, each gives one slope, the mean of those within its bags, and the
        batches are compared.
    codes : list of str
        Treatments, none of them `unusable`, the control first.
    spread : bool, optional
        Whether each flush has a residual variance of its own; found out where not given.

    Raises
    ------
    FitError
        When the weights do not determine the model.
    """
    from analyses.models.mixed import fit_mixed

    came = came_rows(records)
    frame = came[came["treatment"].isin(codes)].copy()
    frame["treatment"] = pd.Categorical(frame["treatment"], codes)
    random = [term for term in ("block", "bag") if unit.blocks or term != "block"]
    random = [term for term in random if 1 < frame[term].nunique() < len(frame)]
    if unit.counted == "batch":
        return _of_batches(frame, codes, random)
    fixed, one = ("treatment * k", "treatment + k") if len(codes) > 1 else ("k", "k")
    fit, by_flush, p = _with_spread(frame, fixed, random, spread)
    common = fit_mixed(frame, "grams", one, random, log=True,
                       residual_by="flush" if by_flush else None)  # fmt: skip
    rows = {code: fit.basis.rows(_at(code, codes), slope="k")[0] for code in codes}
    tail = random_words(random)
    return KeptFit(
        fit=fit, common=common, rows=rows, common_row=common.basis.rows({}, slope="k")[0],
        formula=f"log flush weight (g) ~ {fixed}{tail}, k = flush - 1", frame=frame,
        spread_by_flush=by_flush, spread_p=p,
    )  # fmt: skip


def _at(code: str, codes: list[str]) -> dict[str, list[str]]:
    return {"treatment": [code]} if len(codes) > 1 else {}


def _with_spread(
    frame: pd.DataFrame, fixed: str, random: list[str], spread: bool | None
) -> tuple[MixedFit, bool, float]:
    """Fit with one residual variance, or one a flush where equal ones are hard to believe.

    The fixed parts are the same, so restricted likelihoods may be compared (Pinheiro & Bates 2000,
    Mixed-Effects Models in S and S-PLUS, section 2.4). A flush whose weights would lie on a line
    without any spread is not believed: in a small trial that is luck, and the range would be far
    too narrow.
    """
    from analyses.models.mixed import fit_mixed

    even = fit_mixed(frame, "grams", fixed, random, log=True)
    p = float("nan")
    own = None
    enough = frame.groupby("flush", observed=True).size().min() >= FEWEST
    if enough and len(frame) <= MOST_ROWS_BY_FLUSH and spread is not False:
        try:
            own = fit_mixed(frame, "grams", fixed, random, log=True, residual_by="flush")
            gain = max(0.0, even.minus2_reml - own.minus2_reml)
            p = float(chdtrc(frame["flush"].nunique() - 1, gain))
        except FitError:
            own = None
    wanted = (p < CALLED_FOR) if spread is None else spread
    return (own, True, p) if own is not None and wanted and _is_proper(own) else (even, False, p)


def _is_proper(own: MixedFit) -> bool:
    """Say whether every flush has some spread, and the adjusted covariance is one."""
    spreads = [one for name, one in own.variances.items() if name.startswith("residual")]
    return min(spreads) > 0 and bool(np.linalg.eigvalsh(own.covariance_under(DF_METHOD)).min() > 0)


def _of_batches(frame: pd.DataFrame, codes: list[str], random: list[str]) -> KeptFit:
    """Compare the slopes of whole batches: slopes vary from batch to batch, not only bag to bag."""
    from analyses.models.mixed import fit_mixed

    slopes = unit_slopes(frame, "batch").reset_index()
    places = frame.groupby("batch", observed=True)[["treatment", "block"]].first()
    table = slopes.join(places, on="batch")
    table["treatment"] = pd.Categorical(table["treatment"].astype(str), codes)
    terms = [one for one in random if one == "block" and 1 < table[one].nunique() < len(table)]
    fixed = "treatment" if len(codes) > 1 else "1"
    fit = fit_mixed(table, "slope", fixed, terms)
    common = fit_mixed(table, "slope", "1", terms)
    rows = {code: fit.basis.rows(_at(code, codes))[0] for code in codes}
    tail = random_words(terms)
    return KeptFit(
        fit=fit, common=common, rows=rows, common_row=common.basis.rows({})[0],
        formula=f"slope of log flush weight (g) of a batch ~ {fixed}{tail}", frame=frame,
        spread_by_flush=False, spread_p=float("nan"),
    )  # fmt: skip


def unit_slopes(frame: pd.DataFrame, unit: str) -> pd.Series:
    """Give the least-squares slope of log weight on flush within the bags of each unit.

    Parameters
    ----------
    frame : pandas.DataFrame
        Flushes that came, as `came_rows` gives them.
    unit : {"bag", "batch"}
        What a unit is.

    Returns
    -------
    pandas.Series
        Named slope, by unit; units in which no bag gave two flushes are left out.
    """
    logs = np.log(frame["grams"])
    k = frame["k"] - frame.groupby("bag")["k"].transform("mean")
    products = (k * (logs - logs.groupby(frame["bag"]).transform("mean"))).groupby(frame[unit])
    squares = (k**2).groupby(frame[unit]).sum()
    slopes: pd.Series = products.sum()[squares > 0] / squares[squares > 0]
    slopes.name = "slope"
    return slopes

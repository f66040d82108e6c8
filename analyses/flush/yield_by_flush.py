"""Weight by treatment and flush, for the statistician: bag random, a spread for each flush."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.comparison import DF_METHOD
from analyses.flush.kept_fit import MOST_ROWS_BY_FLUSH
from analyses.model_numbers import ModelNumbers
from analyses.models.linear.arrays import FitError
from analyses.models.linear.formula import random_words
from analyses.unit import UnitStory
from trials.records import Records

if TYPE_CHECKING:
    from analyses.models.mixed import MixedFit

__all__ = ["model_numbers", "yield_by_flush"]


def model_numbers(fit: MixedFit, about: str, formula: str) -> ModelNumbers:
    """Give a fit as the statistician's page shows it.

    Parameters
    ----------
    fit : MixedFit
    about, formula : str
        Which question it answers; what was fitted.
    """
    return ModelNumbers(
        about=about,
        formula=formula,
        variances=tuple(fit.variances.items()),
        minus2_reml=fit.minus2_reml,
        rows=fit.rows,
        df_method="Kenward-Roger",
        tests=tuple(
            (str(term), float(num), float(den), float(f), float(p))
            for term, num, den, f, p in fit.tests(DF_METHOD).itertuples(index=False)
        ),
        notes=fit.notes,
    )


def yield_by_flush(records: Records, unit: UnitStory) -> ModelNumbers | None:
    """Fit weight by treatment and flush, bag random, a residual variance for each flush.

    Parameters
    ----------
    records : Records
    unit : UnitStory

    Returns
    -------
    ModelNumbers or None
        On logarithms where every flush weighed gave something, on grams otherwise; with one
        residual variance for all flushes where there are more rows than `MOST_ROWS_BY_FLUSH`. None
        where it cannot be fitted or where fewer than two flushes were weighed.
    """
    from analyses.models.mixed import fit_mixed

    weighed = records.flushes[records.flushes["state"] == "weighed"]
    if weighed["flush"].nunique() < 2:
        return None
    frame = weighed[["treatment", "block", "batch", "grams"]].assign(
        flush=weighed["flush"].astype(str), bag=weighed["code"]
    )
    log = bool((frame["grams"] > 0).all())
    apart = len(frame) <= MOST_ROWS_BY_FLUSH
    terms = ["block"] * bool(unit.blocks) + ["batch"] * (unit.counted == "batch") + ["bag"]
    random = [term for term in terms if 1 < frame[term].nunique() < len(frame)]
    try:
        fit = fit_mixed(frame, "grams", "treatment * flush", random, log=log,
                        residual_by="flush" if apart else None)  # fmt: skip
    except FitError:
        return None
    what = "log weight (g)" if log else "weight (g)"
    why = "every flush weighed gave something" if log else "some flushes gave nothing"
    tail = random_words(random)
    formula = f"{what} ~ treatment * flush{tail}{', residual variance by flush' * apart} ({why})"
    return model_numbers(fit, "yield of each flush", formula)

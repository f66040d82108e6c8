"""The model of the design, fitted again to fewer rows or to changed responses."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.comparison import Sample
from analyses.models.linear.arrays import FitError

if TYPE_CHECKING:
    from analyses.models.mixed import MixedFit

__all__ = ["fit_again"]


def fit_again(sample: Sample) -> MixedFit | None:
    """Fit the treatments and the random terms of the design.

    Parameters
    ----------
    sample : Sample
        Random terms that have one level, or as many as there are rows, are left out.

    Returns
    -------
    MixedFit or None
        None where too little is left for the model.
    """
    from analyses.models.mixed import fit_mixed

    frame = sample.frame
    random = [term for term in sample.random if 1 < frame[term].nunique() < len(frame)]
    columns = {name: frame[name].to_numpy() for name in ("response", "treatment", *random)}
    try:
        return fit_mixed(columns, "response", "treatment", random)
    except FitError:
        return None

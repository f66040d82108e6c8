"""A fitted model as plain values, for the statistician's part of a page."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ModelNumbers"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelNumbers:
    """A fitted model for the statistician.

    Parameters
    ----------
    about : str
        Which question it answers.
    formula : str
        In Wilkinson and Rogers' notation.
    variances : tuple of (str, float)
        Components, in squared units of the response.
    minus2_reml : float
        Twice the negative restricted log-likelihood.
    rows : int
        Rows fitted.
    df_method : str
        How denominator degrees of freedom were found.
    tests : tuple of (str, float, float, float, float)
        Term, numerator df, denominator df, F, p.
    notes : tuple of str
        Boundary fits, dropped rows and the like.
    """

    about: str
    formula: str
    variances: tuple[tuple[str, float], ...]
    minus2_reml: float
    rows: int
    df_method: str
    tests: tuple[tuple[str, float, float, float, float], ...]
    notes: tuple[str, ...]

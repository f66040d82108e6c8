"""The contract that every model offers, so that one body of code compares for all of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from analyses.models.linear.arrays import Array, Flags
from analyses.models.linear.basis import Basis

__all__ = ["Fit", "JointTest"]


@dataclass(frozen=True, slots=True, kw_only=True)
class JointTest:
    """An F test of several contrasts at once.

    Attributes
    ----------
    num_df : float
        Number of independent contrasts that could be tested.
    den_df : float
        Denominator degrees of freedom.
    f : float
        The F statistic, already scaled where the method scales it.
    p : float
        Upper tail of the F distribution.
    """

    num_df: float
    den_df: float
    f: float
    p: float


class Fit(Protocol):
    """What a model must offer: coefficients, covariance, basis rows and their df.

    Everything in `analyses.models.contrasts` is made of these and of nothing else, so a new
    model needs no inference of its own and a new df method touches no model.
    """

    @property
    def basis(self) -> Basis:
        """The columns of the fixed part; makes a row for any combination of factors."""

    @property
    def coefficients(self) -> Array:
        """One number a column of the basis; columns that could not be estimated hold 0."""

    @property
    def covariance(self) -> Array:
        """Covariance of the coefficients as the model gives it, unadjusted."""

    def covariance_under(self, method: str) -> Array:
        """Give the covariance that belongs to a df method (adjusted for Kenward-Roger)."""

    def estimable(self, rows: Array) -> Flags:
        """Say for each row of weights whether the data can estimate it."""

    def df(self, rows: Array, method: str) -> Array:
        """Give the degrees of freedom of each row of weights."""

    def joint(self, rows: Array, method: str) -> JointTest:
        """Test all rows of weights at once against zero."""

"""What follows from the variances: fixed effects, their covariances and degrees of freedom."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analyses.models.linear.arrays import Array, FitError, Flags
from analyses.models.linear.basis import Basis
from analyses.models.linear.design import Design
from analyses.models.linear.fit import JointTest
from analyses.models.linear.kenward_roger import KenwardRoger, kenward_roger
from analyses.models.linear.moments import Structure
from analyses.models.linear.reduce import Columns
from analyses.models.linear.reml import Optimum
from analyses.models.linear.satterthwaite import Satterthwaite, satterthwaite, swept
from analyses.models.linear.student import f_tail

__all__ = ["METHODS", "Inference"]

METHODS = ("kenward-roger", "satterthwaite")


@dataclass(frozen=True, kw_only=True, eq=False)
class Inference:
    """A model fitted by REML as numbers; keeps the contract of `analyses.models.linear.fit.Fit`.

    Attributes
    ----------
    design : Design
        What was fitted.
    columns : Columns
        The fixed part made orthonormal.
    structure : Structure
        The data summed up.
    optimum : Optimum
        The variances and the proof that they are the best.
    """

    design: Design
    columns: Columns
    structure: Structure
    optimum: Optimum

    @property
    def basis(self) -> Basis:
        """The columns of the fixed part."""
        return self.design.basis

    @property
    def rows(self) -> int:
        """Number of rows used."""
        return int(self.structure.rows)

    @property
    def variances(self) -> dict[str, float]:
        """Variance of each random term in the order given, then "residual".

        With a residual variance a level, those are named "residual[level]".
        """
        square = self.columns.scale**2
        theta = np.where(self.optimum.at_zero, 0.0, self.optimum.point.theta * square)
        found = dict(zip(self.structure.names, theta, strict=True))
        order = [term.name for term in self.design.random]
        order += [name for name in self.structure.names if name not in order]
        return {name: float(found[name]) for name in order}

    @property
    def minus2_reml(self) -> float:
        """-2 log restricted likelihood, with (n - p) log 2 pi and without log det X'X."""
        free = self.rows - len(self.columns.kept)
        constant = free * (np.log(2 * np.pi) + 2 * np.log(self.columns.scale))
        return float(self.optimum.point.criterion + constant + 2 * self.columns.log_det_r)

    @property
    def coefficients(self) -> Array:
        """Fixed effects, one a column of the basis; 0 where a column adds nothing."""
        full = np.zeros(len(self.columns.null))
        full[self.columns.kept] = self.columns.r_inverse @ self._orthonormal
        full[0] += self.columns.middle
        return full

    @property
    def _orthonormal(self) -> Array:
        return self.columns.start + self.columns.scale * self.optimum.point.beta

    @property
    def covariance(self) -> Array:
        """Covariance of the fixed effects as the variances give it, unadjusted."""
        return self._outward(self.optimum.point.phi)

    @property
    def covariance_kenward_roger(self) -> Array:
        """Covariance of the fixed effects adjusted for small samples (Kenward & Roger 1997)."""
        return self._outward(self._kenward_roger.adjusted)

    def _outward(self, covariance: Array) -> Array:
        """Turn a covariance of the orthonormal columns into one of the basis."""
        back = self.columns.r_inverse
        full = np.zeros((len(self.columns.null),) * 2)
        inner = self.columns.scale**2 * back @ covariance @ back.T
        full[np.ix_(self.columns.kept, self.columns.kept)] = inner
        return full

    @cached_property
    def _kenward_roger(self) -> KenwardRoger:
        point, p = self.optimum.point, len(self.columns.kept)
        b = point.moments.b[:, :p, :p] / point.scale**2
        c = point.moments.c[:, :, :p, :p] / point.scale**3
        return kenward_roger(point.phi, b, c, point.expected)

    @cached_property
    def _satterthwaite(self) -> Satterthwaite:
        point, p = self.optimum.point, len(self.columns.kept)
        b = point.moments.b[:, :p, :p] / point.scale**2
        return satterthwaite(point.phi, b, point.observed, self.optimum.at_zero)

    def _method(self, method: str) -> KenwardRoger | Satterthwaite:
        if method not in METHODS:
            message = f"df is one of {' and '.join(METHODS)}, not '{method}'"
            raise FitError(message)
        return self._kenward_roger if method == "kenward-roger" else self._satterthwaite

    def _inward(self, rows: Array) -> Array:
        """Turn rows of weights of the basis into ones of the orthonormal columns."""
        return np.asarray(rows[:, self.columns.kept] @ self.columns.r_inverse)

    def covariance_under(self, method: str) -> Array:
        """Give the covariance that belongs to a df method."""
        chosen = self._method(method)
        return self._outward(chosen.adjusted if isinstance(chosen, KenwardRoger) else chosen.phi)

    def estimable(self, rows: Array) -> Flags:
        """Say for each row of weights whether the data can estimate it."""
        if not self.columns.null.shape[1]:
            return np.ones(len(rows), bool)
        size = np.sqrt((rows * rows).sum(1))
        return np.asarray(np.abs(rows @ self.columns.null).max(1) <= 1e-9 * np.maximum(size, 1))

    def df(self, rows: Array, method: str) -> Array:
        """Give the degrees of freedom of each row of weights."""
        return self._method(method).df(self._inward(rows))

    def joint(self, rows: Array, method: str) -> JointTest:
        """Test all rows of weights at once, as far as the data can estimate them."""
        if self.columns.null.shape[1]:
            left, size, _ = np.linalg.svd(rows @ self.columns.null)
            rows = left.T[int((size > 1e-9).sum()) :] @ rows
        inner = self._inward(rows)
        _, size, vt = np.linalg.svd(inner, full_matrices=False)
        rank = int((size > 1e-9 * size.max(initial=0)).sum())
        if not rank:
            return JointTest(num_df=0.0, den_df=np.nan, f=np.nan, p=np.nan)
        inner = inner if rank == len(inner) else vt[:rank]
        if method == "satterthwaite" and not self.basis.has_crossing:
            inner = swept(inner)
        f, den = self._method(method).joint(inner, inner @ self._orthonormal / self.columns.scale)
        num = float(rank)
        return JointTest(num_df=num, den_df=den, f=f, p=float(f_tail(f, num, den)))

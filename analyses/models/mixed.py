"""Small-sample linear mixed models: REML, Kenward-Roger and Satterthwaite inference."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from analyses.models import contrasts
from analyses.models.basis import Basis, written
from analyses.models.design import Design, Table, lay_out
from analyses.models.fit import Array, FitError, Flags, JointTest
from analyses.models.kenward_roger import KenwardRoger, kenward_roger
from analyses.models.moments import Structure
from analyses.models.predict import predict_levels
from analyses.models.reduce import Columns, reduce_design, sum_up
from analyses.models.reml import Optimum, maximise
from analyses.models.satterthwaite import Satterthwaite, satterthwaite, swept
from analyses.models.student import f_tail

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["METHODS", "MixedFit", "fit_design", "fit_mixed"]

METHODS = ("kenward-roger", "satterthwaite")


def fit_mixed(
    frame: Table,
    response: str,
    fixed: str,
    random: Sequence[str] = (),
    *,
    log: bool = False,
    residual_by: str | None = None,
) -> MixedFit:
    """Fit fixed factors and random intercepts by REML (Patterson & Thompson 1971).

    Parameters
    ----------
    frame : data frame or mapping of str to array
        One row an observation.
    response : str
        Column to explain. Rows where it is missing are left out, and the fit says how many.
    fixed : str
        Fixed part in the notation of Wilkinson & Rogers (1973), "treatment * flush". Text,
        categories and truth values are factors, numbers are covariates; C(dose) makes a factor
        of numbers.
    random : sequence of str
        Random intercepts, nested ones as "block:plot"; empty for least squares.
    log : bool
        Fit the natural logarithm of the response.
    residual_by : str, optional
        A factor with one residual variance a level.

    Returns
    -------
    MixedFit
        The fit.

    Raises
    ------
    FitError
        If the table cannot be read or does not determine the model, in plain words.
    """
    design = lay_out(frame, response, fixed, random, log=log, residual_by=residual_by)
    return fit_design(design)


def fit_design(design: Design) -> MixedFit:
    """Fit a model that is already laid out as arrays; see `fit_mixed`."""
    columns = reduce_design(design)
    structure = sum_up(design, columns)
    return MixedFit(
        design=design, columns=columns, structure=structure, optimum=maximise(structure)
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class MixedFit:
    """A fitted mixed model; keeps the contract of `analyses.models.fit.Fit`.

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
        return self.structure.rows

    @property
    def variances(self) -> dict[str, float]:
        """Variance of each random term in the order given, then "residual".

        With a residual variance a level, those are named "residual[level]".
        """
        square = self.columns.scale**2
        found = dict(zip(self.structure.names, self.optimum.point.theta * square, strict=True))
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

    @property
    def notes(self) -> tuple[str, ...]:
        """What was left out, and which variances are zero, in plain words."""
        zero = [
            f"the variance of '{name}' is estimated at zero: Kenward-Roger keeps it in the "
            "degrees of freedom, Satterthwaite leaves it out"
            for name, value in self.variances.items()
            if value == 0
        ]
        names = self.basis.names
        aliased = sorted(set(range(len(names))) - set(self.columns.kept.tolist()))
        gone = [f"{names[at]}: no separate effect, the rows do not show it" for at in aliased]
        return (*self.design.notes, *zero, *gone)

    @property
    def effects(self) -> pd.DataFrame:
        """Each fixed effect with Kenward-Roger inference; NaN where a column adds nothing."""
        names = self.basis.names
        family = contrasts.infer(self, np.eye(len(names)), names, df="kenward-roger")
        return family.frame().rename(columns={"contrast": "effect"})

    def means(
        self,
        factor: str | Sequence[str],
        *,
        df: str = "kenward-roger",
        by: str | Sequence[str] = (),
        at: Mapping[str, Any] | None = None,
        weights: str | Mapping[str, Sequence[float]] = "equal",
        confidence: float = 0.95,
    ) -> pd.DataFrame:
        """Give adjusted means; see `analyses.models.contrasts.adjusted_means`.

        Returns
        -------
        data frame
            Columns level, mean, se, df, low, high, after those of `by`.
        """
        family = contrasts.adjusted_means(
            self, factor, df=df, by=by, at=at, weights=weights, confidence=confidence
        )
        return family.frame("level", "mean")

    def contrasts(
        self,
        factor: str | Sequence[str],
        kind: str | Mapping[str, Sequence[float]] = "versus control",
        control: object = None,
        adjust: str = "none",
        df: str = "kenward-roger",
        *,
        by: str | Sequence[str] = (),
        at: Mapping[str, Any] | None = None,
        weights: str | Mapping[str, Sequence[float]] = "equal",
        confidence: float = 0.95,
    ) -> pd.DataFrame:
        """Compare adjusted means; see `analyses.models.contrasts.comparisons`.

        Returns
        -------
        data frame
            Columns contrast, estimate, se, df, t, p, low, high, after those of `by`; when
            adjusted, also p_unadjusted, low_unadjusted, high_unadjusted.
        """
        family = contrasts.comparisons(
            self,
            factor,
            kind,
            df=df,
            control=control,
            adjust=adjust,
            by=by,
            at=at,
            weights=weights,
            confidence=confidence,
        )
        return family.frame()

    def tests(self, df: str = "kenward-roger") -> pd.DataFrame:
        """Test each term; see `analyses.models.contrasts.joint_tests`.

        Returns
        -------
        data frame
            Columns term, num_df, den_df, f, p.
        """
        import pandas as pd

        terms, tests, notes = contrasts.joint_tests(self, df=df)
        columns: dict[str, Any] = {"term": terms}
        columns |= {
            name: [getattr(test, name) for test in tests] for name in ("num_df", "den_df", "f", "p")
        }
        frame = pd.DataFrame(columns)
        frame.attrs["notes"] = notes
        return frame

    def slopes(
        self,
        covariate: str,
        by: str | Sequence[str] = (),
        *,
        kind: str | Mapping[str, Sequence[float]] | None = None,
        control: object = None,
        adjust: str = "none",
        df: str = "kenward-roger",
        confidence: float = 0.95,
    ) -> pd.DataFrame:
        """Give slopes, or compare them; see `analyses.models.contrasts.slopes`.

        Returns
        -------
        data frame
            Columns level, slope, se, df, low, high; with `kind`, those of `contrasts`.
        """
        family = contrasts.slopes(
            self,
            covariate,
            df=df,
            by=by,
            kind=kind,
            control=control,
            adjust=adjust,
            confidence=confidence,
        )
        return family.frame("level", "slope") if kind is None else family.frame()

    @cached_property
    def _marginal(self) -> Array:
        """What the fixed part leaves of each row."""
        q, cells, columns = self.columns.q_rows, self.design.cells, self.columns
        shift = q @ self.optimum.point.beta
        return columns.scale * (columns.leftover - (shift if cells is None else shift[cells]))

    @cached_property
    def _levels(self) -> dict[str, Array]:
        theta = np.array([self.variances[name] for name in self.structure.names])
        return predict_levels(self.design, theta, self._marginal)

    def random_effects(self) -> pd.DataFrame:
        """Give the best linear unbiased predictions (Henderson 1975, Biometrics 31, 423-447).

        Returns
        -------
        data frame
            Columns term, level, effect.
        """
        import pandas as pd

        found = [
            pd.DataFrame(
                {
                    "term": term.name,
                    "level": [_label(level) for level in term.levels],
                    "effect": self._levels[term.name],
                }
            )
            for term in self.design.random
        ]
        if not found:
            return pd.DataFrame({"term": [], "level": [], "effect": []})
        return pd.concat(found, ignore_index=True)

    def residuals(self, kind: str = "conditional") -> Array:
        """Give the residual of each row used, in the order of `design.used`.

        Parameters
        ----------
        kind : {"conditional", "marginal"}
            After the fixed part and the random effects, or after the fixed part only.
        """
        if kind == "marginal":
            return self._marginal.copy()
        if kind != "conditional":
            message = f"residuals are 'conditional' or 'marginal', not '{kind}'"
            raise FitError(message)
        left = self._marginal.copy()
        for term in self.design.random:
            left -= self._levels[term.name][term.codes]
        return left

    def fitted(self, kind: str = "conditional") -> Array:
        """Give the fitted value of each row used: the response less its residual."""
        return self.design.response - self.residuals(kind)


def _label(level: object) -> str:
    return ":".join(written(one) for one in level) if isinstance(level, tuple) else written(level)

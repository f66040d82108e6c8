"""Small-sample linear mixed models: REML, Kenward-Roger and Satterthwaite inference."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from analyses.models import contrasts
from analyses.models.linear.arrays import Array, FitError
from analyses.models.linear.basis import written
from analyses.models.linear.design import Design, Table, lay_out
from analyses.models.linear.inference import METHODS, Inference
from analyses.models.linear.predict import predict_levels
from analyses.models.linear.reduce import reduce_design, sum_up
from analyses.models.linear.reml import maximise

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["METHODS", "MixedFit", "fit_design", "fit_mixed"]


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

    Examples
    --------
    >>> import pandas as pd
    >>> grams = [401.0, 455, 380, 441, 420, 450, 390, 462]
    >>> frame = pd.DataFrame({"shelf": list("aabbccdd"), "mix": ["bran", "okara"] * 4, "g": grams})
    >>> fit = fit_mixed(frame, "g", "mix", ["shelf"])
    >>> fit.contrasts("mix", control="bran")[["estimate", "low", "high", "df"]].round(1)
       estimate   low  high   df
    0      54.2  26.0  82.5  3.0
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


class MixedFit(Inference):
    """A fitted mixed model with its tables; keeps the contract of `linear.fit.Fit`."""

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

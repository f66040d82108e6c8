"""Several treatments compared without taking their spread to be the same."""

from __future__ import annotations

import math
import warnings

import pandas as pd

__all__ = ["WELCH_TERM", "welch_test"]

WELCH_TERM = "treatment, unequal spread (Welch)"


def welch_test(frame: pd.DataFrame) -> tuple[str, float, float, float, float] | None:
    """Test several means at once without equal spread, for layouts without blocks.

    Parameters
    ----------
    frame : pandas.DataFrame
        Columns treatment (text) and response, one row an independent unit.

    Returns
    -------
    tuple or None
        Term, numerator df, denominator df, F, p, by `pingouin.welch_anova`; None where a treatment
        has fewer than two units or no spread at all.

    References
    ----------
    Welch (1951), On the comparison of several mean values, Biometrika 38, 330-336.
    """
    import pingouin

    groups = frame.groupby("treatment", observed=True)["response"]
    if groups.size().min() < 2 or not (groups.var() > 0).all():
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        table = pingouin.welch_anova(data=frame, dv="response", between="treatment")
    row = {str(name).replace("-", "_"): value for name, value in table.iloc[0].items()}
    found = tuple(float(row[name]) for name in ("ddof1", "ddof2", "F", "p_unc"))
    if not all(math.isfinite(one) for one in found):
        return None
    num, den, f, p = found
    return WELCH_TERM, num, den, f, p

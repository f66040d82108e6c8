"""The tidy row of a difference in losses, in contaminated units of a hundred."""

from __future__ import annotations

import math

from analyses.estimate import Estimate
from analyses.losses.table import ArmCounts
from analyses.models.counts.two_proportions import Difference
from analyses.yields import STARTED
from trials.records import Records
from trials.trial import Claim

__all__ = ["HUNDRED", "asked", "decides", "loss_estimate", "missing_side", "shared_level"]

HUNDRED = "bags in 100"
"""Unit of every difference in losses."""


def asked(records: Records) -> tuple[Claim, float | None]:
    """Give what the plan asks about losses: the claim, and its margin in units of a hundred.

    Parameters
    ----------
    records : Records
        A plan that asks about something else is asked "better" with no margin.
    """
    aim = records.trial.aim
    if aim.outcome != "contamination":
        return "better", None
    return aim.claim, None if aim.worthwhile is None else aim.worthwhile.value


def shared_level(records: Records, level: float) -> float:
    """Share the error of a level out among the comparisons with the control (Bonferroni).

    Parameters
    ----------
    records : Records
    level : float
        Confidence that is to hold for all comparisons together.
    """
    return 1 - (1 - level) / len(records.trial.challengers)


def decides(claim: Claim, level: float) -> str:
    """Say which interval decides about a claim, for the statistician.

    Parameters
    ----------
    claim : {"better", "no worse", "same"}
    level : float
        The plan's two-sided confidence.
    """
    size = f"{50 * (1 - level):.3g} %"
    if claim == "better":
        return f"judged by the two-sided {100 * level:g} % interval"
    tests = "a one-sided test" if claim == "no worse" else "two one-sided tests"
    return (
        f"judged by the plan's two-sided {100 * level:g} % interval, as by {tests} of size {size}"
    )


def missing_side(records: Records, counts: dict[str, ArmCounts], code: str) -> str:
    """Say which of two treatments has no unit of known fate; empty when both have.

    Parameters
    ----------
    records : Records
    counts : dict of str to ArmCounts
    code : str
        The treatment that is compared with the control.
    """
    for side in (records.trial.control.code, code):
        if not counts[side].made:
            name = records.trial.treatment(side).name
            return f"there is no {records.trial.unit} of “{name}” to count"
    return ""


def loss_estimate(
    records: Records,
    code: str,
    *,
    together: Difference | None,
    alone: Difference | None,
    p: float | None,
    level: float,
    units: int,
    method: str,
    withheld: str = "",
    notes: tuple[str, ...] = (),
) -> Estimate:
    """Give the row of one comparison between units that stand alone.

    Parameters
    ----------
    records : Records
    code : str
        The treatment that is compared with the control.
    together, alone : Difference or None
        Shares as they are between 0 and 1: the interval that decides, and that of the comparison
        by itself; None when `withheld`.
    p : float or None
        Two-sided, by itself; it is widened for the others here.
    level : float
        Confidence that holds for all comparisons together.
    units : int
        Units compared.
    method, withheld : str
        As in `Estimate`.
    notes : tuple of str
        As in `Estimate`.
    """
    family = len(records.trial.challengers)
    if family > 1:
        method += "; level and p shared out among the comparisons (Bonferroni)"
    nothing = math.nan
    return Estimate(
        outcome="contamination",
        estimand=STARTED,
        treatment=code,
        control=records.trial.control.code,
        value=100 * together.value if together else nothing,
        low=100 * together.low if together else nothing,
        high=100 * together.high if together else nothing,
        level=level,
        low_alone=100 * alone.low if alone else nothing,
        high_alone=100 * alone.high if alone else nothing,
        p=None if p is None else min(1.0, p * family),
        df=None,
        unit=HUNDRED,
        units=units,
        unit_counted=records.trial.unit,
        method=method,
        withheld=withheld,
        notes=notes,
    )

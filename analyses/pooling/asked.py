"""What a group asked before it began, and what was looked at afterwards."""

from __future__ import annotations

import math
from collections.abc import Mapping

from analyses.planned import ASKED, why_explored
from trials.measures import grams, weight_unit
from trials.together import Together
from trials.trial import Margin, Outcome

__all__ = ["margin_in_unit", "not_planned", "why_explored_together"]


def not_planned(together: Together) -> dict[str, str]:
    """Give the growers whose own records do not show that the aim was set beforehand.

    Parameters
    ----------
    together : Together

    Returns
    -------
    dict of str to str
        Key of the grower and reason.
    """
    outcome = together.reference.aim.outcome
    reasons = {one.key: why_explored(one.records, outcome, main=True) for one in together.growers}
    return {key: reason for key, reason in reasons.items() if reason}


def why_explored_together(together: Together, outcome: Outcome, late: Mapping[str, str]) -> str:
    """Say why an answer of the group counts as explored; empty when it was planned.

    Parameters
    ----------
    together : Together
    outcome : str
    late : mapping of str to str
        As `not_planned` gives it.

    Returns
    -------
    str
        It was planned when it is what the plan of the group asks and more than half of the
        growers locked that plan before their first result.
    """
    aim = together.reference.aim.outcome
    if outcome != aim:
        return f"the plan asked about {ASKED.get(aim, aim)}"
    if 2 * len(late) < len(together.growers):
        return ""
    reason = next(iter(late.values()))
    return f"at {len(late)} of {len(together.growers)} growers {reason}"


def margin_in_unit(margin: Margin | None, control_mean: float) -> float | None:
    """Turn a margin into the unit of an estimate; per cent are of the control's mean.

    Parameters
    ----------
    margin : Margin or None
    control_mean : float
        Of the group, in the unit of the estimate.
    """
    if margin is None:
        return None
    if margin.unit == "%":
        worth = margin.value / 100 * control_mean
        return worth if math.isfinite(worth) and worth > 1e-6 else None
    unit = weight_unit(margin.unit)
    return margin.value if unit is None else grams(margin.value, unit)

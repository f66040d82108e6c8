"""What was looked at afterwards, taken together: Holm's step-down over all of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analyses.finding import Finding
from analyses.models.families.multiplicity import holm

__all__ = ["with_holm"]


def with_holm(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Add to each explored finding its p value adjusted for all that was explored.

    Parameters
    ----------
    findings : sequence of Finding
        The planned ones are left as they are: they are answers, not a search.

    Returns
    -------
    tuple of Finding
        In the same order.

    Notes
    -----
    Holm (1979), Scandinavian Journal of Statistics 6, 65-70.
    """
    places = [
        place
        for place, one in enumerate(findings)
        if not one.planned and one.estimate.p is not None
    ]
    raw = np.array([findings[place].estimate.p for place in places], float)
    adjusted = dict(zip(places, holm(raw).tolist(), strict=True)) if places else {}
    return tuple(
        replace(one, p_holm=adjusted[place]) if place in adjusted else one
        for place, one in enumerate(findings)
    )

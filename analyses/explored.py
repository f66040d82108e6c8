"""What was looked at afterwards, taken together: Holm's step-down over all of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analyses.also_measured import AlsoMeasured
from analyses.finding import Finding
from analyses.models.families.multiplicity import holm

__all__ = ["explored_together", "with_holm"]


def explored_together(
    findings: Sequence[Finding], also: Sequence[AlsoMeasured]
) -> tuple[tuple[Finding, ...], tuple[AlsoMeasured, ...]]:
    """Add to everything explored its p value adjusted for all that was explored.

    Parameters
    ----------
    findings : sequence of Finding
        The planned ones are left as they are: they are answers, not a search.
    also : sequence of AlsoMeasured
        What was written down beside.

    Returns
    -------
    findings, also : tuple
        In the same order.

    Notes
    -----
    Holm (1979), Scandinavian Journal of Statistics 6, 65-70.
    """
    raw = [None if one.planned else one.estimate.p for one in findings]
    raw += [one.p for one in also]
    known = [place for place, p in enumerate(raw) if p is not None]
    adjusted: list[float | None] = [None] * len(raw)
    if known:
        for place, p in zip(known, holm(np.array([raw[at] for at in known])), strict=True):
            adjusted[place] = float(p)
    first, second = adjusted[: len(findings)], adjusted[len(findings) :]
    return (
        tuple(
            one if p is None else replace(one, p_holm=p)
            for one, p in zip(findings, first, strict=True)
        ),
        tuple(
            one if p is None else replace(one, p_holm=p)
            for one, p in zip(also, second, strict=True)
        ),
    )


def with_holm(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Add to each explored finding its p value adjusted for all that was explored.

    Parameters
    ----------
    findings : sequence of Finding
        The planned ones are left as they are.
    """
    return explored_together(findings, ())[0]

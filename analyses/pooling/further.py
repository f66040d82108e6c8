"""How many growers would settle what is open."""

from __future__ import annotations

import math

from scipy.special import stdtrit

from analyses.deciding import OFTEN, distance_to_decide
from analyses.finding import Finding
from analyses.pooling.answers import MoreGrowers

__all__ = ["more_growers"]

_TOO_MANY_TIMES = 10


def more_growers(finding: Finding) -> MoreGrowers | None:
    """Say how many growers like these would settle a finding 8 times in 10.

    Parameters
    ----------
    finding : Finding
        Of a group; its units are growers.

    Returns
    -------
    MoreGrowers or None
        None where nothing is open. Each further grower is taken to bring as much as one of those
        there are, differences between growers and luck within them together, and the truth to be
        the estimate; the interval is Student's on growers less one.
    """
    if finding.verdict not in ("not settled", "shown, size open") or not finding.planned:
        return None
    one = finding.estimate
    now = one.units
    needed = distance_to_decide(finding)
    half = (one.high - one.low) / 2
    if not math.isfinite(half) or needed <= 0 or now < 2:
        return MoreGrowers(now=now, wanted=None)
    each = half * math.sqrt(now) / _quantile(now, one.level)
    for wanted in range(now + 1, _TOO_MANY_TIMES * now + 1):
        reach = (_quantile(wanted, one.level) + OFTEN) * each / math.sqrt(wanted)
        if reach <= needed:
            return MoreGrowers(now=now, wanted=wanted)
    return MoreGrowers(now=now, wanted=None)


def _quantile(growers: int, level: float) -> float:
    return float(stdtrit(growers - 1, (1 + level) / 2))

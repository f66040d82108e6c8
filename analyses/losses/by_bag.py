"""Losses of units that stand each for itself: two shares compared."""

from __future__ import annotations

from analyses.companion import Companion, from_log
from analyses.estimate import Estimate
from analyses.losses.estimate import asked, decides, loss_estimate, missing_side, shared_level
from analyses.losses.table import ArmCounts, arm_counts
from analyses.models.counts.exact_tables import conditional_odds
from analyses.models.counts.firth import fit_firth
from analyses.models.counts.firth_profile import profile_interval
from analyses.models.counts.margins import exact_margin_p, farrington_manning, two_one_sided
from analyses.models.counts.risk_ratio import miettinen_nurminen_ratio
from analyses.models.counts.two_proportions import Difference, mee, miettinen_nurminen, newcombe
from trials.records import Records
from trials.trial import Claim

__all__ = ["bag_companions", "bag_difference", "by_bag"]

_MOST_TABLES = 10_000
"""Tables over which the exact margin test is enumerated; beyond, the normal one does as well."""


def by_bag(records: Records, *, level: float) -> tuple[Estimate, ...]:
    """Compare the share of lost units with the control's.

    Parameters
    ----------
    records : Records
    level : float
        Confidence for all comparisons together.

    Returns
    -------
    tuple of Estimate
        For the claim "better" the interval of Miettinen & Nurminen (1985, Statist. Med. 4,
        213-226); for "no worse" and "same" that of Mee (1984, Biometrics 40, 1175-1176), whose
        limits decide just as the test of Farrington & Manning (1990, Statist. Med. 9, 1447-1454).
        p is Fisher's exact one. Both have a bound where no unit was lost.
    """
    claim, _ = asked(records)
    counts, shared = arm_counts(records), shared_level(records, level)
    control = counts[records.trial.control.code]
    told = []
    for one in records.trial.challengers:
        withheld = missing_side(records, counts, one.code)
        mine = counts[one.code]
        pair = (mine.lost, mine.made, control.lost, control.made)
        told.append(
            loss_estimate(
                records,
                one.code,
                together=None if withheld else bag_difference(*pair, claim, shared),
                alone=None if withheld else bag_difference(*pair, claim, level),
                p=None if withheld else conditional_odds(*pair).p,
                level=level,
                units=mine.made + control.made,
                method=_method(claim, level),
                withheld=withheld,
            )
        )
    return tuple(told)


def bag_difference(x1: int, n1: int, x2: int, n2: int, claim: Claim, level: float) -> Difference:
    """Give the difference of two shares with the interval that decides about a claim.

    Parameters
    ----------
    x1, n1, x2, n2 : int
        Lost and made, of the treatment and of the control.
    claim : {"better", "no worse", "same"}
    level : float
        Two-sided confidence.
    """
    score = miettinen_nurminen if claim == "better" else mee
    return score(x1, n1, x2, n2, level)


def _method(claim: Claim, level: float) -> str:
    interval = (
        "Miettinen-Nurminen interval"
        if claim == "better"
        else "Mee's score interval, which decides as the Farrington-Manning test does"
    )
    return f"risk difference, {interval}; Fisher's exact test; {decides(claim, level)}"


def bag_companions(records: Records, code: str, *, level: float) -> tuple[Companion, ...]:
    """Give the other measures of one comparison of units that stand each for itself.

    Parameters
    ----------
    records : Records
    code : str
        The treatment that is compared with the control.
    level : float
        Confidence of each by itself.

    Returns
    -------
    tuple of Companion
        Newcombe's difference, risk ratio, odds ratio conditional and by Firth's penalty, and the
        tests against the margin where the plan has one to be no worse than; empty where a side
        has no units.
    """
    counts = arm_counts(records)
    if missing_side(records, counts, code):
        return ()
    pair = (counts[code], counts[records.trial.control.code])
    return (*_measures(*pair, level), *_margin_tests(records, *pair, level))


def _measures(mine: ArmCounts, control: ArmCounts, level: float) -> tuple[Companion, ...]:
    table = (mine.lost, mine.made, control.lost, control.made)
    hybrid = newcombe(*table, level)
    ratio = miettinen_nurminen_ratio(*table, level)
    exact = conditional_odds(*table, level)
    fit = fit_firth([[1, 1], [1, 0]], [mine.lost, control.lost], [mine.made, control.made])
    firth = profile_interval(fit, [0, 1], level)
    return (
        Companion(
            measure="risk difference, bags in 100", value=100 * hybrid.value,
            low=100 * hybrid.low, high=100 * hybrid.high, level=level,
            method="Newcombe's hybrid score interval",
        ),
        Companion(
            measure="risk ratio", value=ratio.value, low=ratio.low, high=ratio.high, level=level,
            p=ratio.p, method="Miettinen-Nurminen score interval",
        ),
        Companion(
            measure="odds ratio", value=exact.value, low=exact.low, high=exact.high, level=level,
            p=exact.p, method="conditional, exact interval; Fisher's exact test",
        ),
        Companion(
            measure="odds ratio", value=from_log(firth.value), low=from_log(firth.low),
            high=from_log(firth.high), level=level, p=firth.p,
            method="Firth's penalty, profile penalised likelihood",
        ),
    )  # fmt: skip


def _margin_tests(
    records: Records, mine: ArmCounts, control: ArmCounts, level: float
) -> tuple[Companion, ...]:
    claim, margin = asked(records)
    if margin is None or claim == "better":
        return ()
    table, size = (mine.lost, mine.made, control.lost, control.made), (1 - level) / 2
    beyond = margin / 100
    if claim == "same":
        both = two_one_sided(*table, margin=beyond, size=size)
        return (
            Companion(
                measure=f"within {margin:g} in 100 either way", p=both.p, level=level,
                method="two one-sided tests, each of Farrington and Manning; p is the larger",
            ),
        )  # fmt: skip
    one = farrington_manning(*table, margin=beyond, size=size)
    told = [
        Companion(
            measure=f"less than {margin:g} in 100 more", p=one.p, level=level,
            method="Farrington-Manning, one-sided p",
        )
    ]  # fmt: skip
    if (mine.made + 1) * (control.made + 1) <= _MOST_TABLES:
        told.append(
            Companion(
                measure=f"less than {margin:g} in 100 more", level=level,
                p=exact_margin_p(*table, margin=beyond), method="Chan's exact test, one-sided p",
            )
        )  # fmt: skip
    return tuple(told)

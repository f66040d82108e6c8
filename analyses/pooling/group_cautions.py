"""What a reader must know before believing what a group found."""

from __future__ import annotations

import math
from collections.abc import Mapping

from analyses.pooling.answers import GroupAnswer
from trials.together import Together

__all__ = ["group_cautions"]

_FEW = 5
_MOST_OF_IT = 0.5
_POOLED = ("yield", "flush drop", "contamination")


def group_cautions(
    together: Together, answers: tuple[GroupAnswer, ...], late: Mapping[str, str]
) -> tuple[str, ...]:
    """Give the cautions that belong to a group.

    Parameters
    ----------
    together : Together
    answers : tuple of GroupAnswer
    late : mapping of str to str
        Growers whose own plan does not count as set beforehand, and why.

    Returns
    -------
    tuple of str
        Plain sentences.
    """
    return (
        *_too_few(together),
        *_not_pooled(together),
        *_late(together, late),
        *_bag_sizes(answers),
        *_leaning(answers),
        *_stopped_early(together),
    )


def _too_few(together: Together) -> list[str]:
    count = len(together.growers)
    if count >= _FEW:
        return []
    return [f"With {count} growers little can be said of how much growers differ."]


def _not_pooled(together: Together) -> list[str]:
    aim = together.reference.aim.outcome
    if aim in _POOLED:
        return []
    return [f"The plan asked about {aim}; this page pools yields, losses and flushes only."]


def _late(together: Together, late: Mapping[str, str]) -> list[str]:
    if not late or together.reference.aim.outcome not in _POOLED:
        return []
    return [
        f"{one.shown}: counts as looked at afterwards, because {late[one.key]}."
        for one in together.growers
        if one.key in late
    ]


def _bag_sizes(answers: tuple[GroupAnswer, ...]) -> list[str]:
    """Warn where growers' bags differ so much in size that grams mix large with small."""
    for answer in answers:
        if answer.finding.estimate.outcome != "yield":
            continue
        sizes = [one.own.control for one in answer.growers if one.own.control > 0]
        if len(sizes) > 1 and max(sizes) > 2 * min(sizes):
            return [
                "Bags of the control gave more than twice as much at one grower as at another. "
                "Then a gain in per cent may travel better than one in weight; the table of "
                "checks has both."
            ]
    return []


def _leaning(answers: tuple[GroupAnswer, ...]) -> list[str]:
    """Warn where one grower holds more than half of the weight."""
    if not answers or answers[0].pooled is None:
        return []
    first = answers[0]
    weights = [
        (one.shown, 1 / (one.own.variance + first.pooled.tau2))
        for one in first.growers
        if one.own.variance > 0 and first.pooled is not None
    ]
    total = sum(weight for _, weight in weights)
    shown, most = max(weights, key=lambda one: one[1])
    if len(weights) < 3 or not math.isfinite(total) or most < _MOST_OF_IT * total:
        return []
    return [f"{shown} has more than half of the weight in the answer."]


def _stopped_early(together: Together) -> list[str]:
    """Warn that totals over fewer flushes stand beside totals over more."""
    early = [one.shown for one in together.differences if one.kind == "picked"]
    if not early:
        return []
    return [
        f"{', '.join(early)} stopped picking early: the totals there are over fewer flushes, on "
        "both sides alike."
    ]

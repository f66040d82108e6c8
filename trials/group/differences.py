"""Whether two growers run the same trial: every difference of their plans, in their own words."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from trials.group.allowable import ALLOWABLE
from trials.group.recipe_match import SAME_AMOUNT, recipe_differs
from trials.measures import grams, weight_unit
from trials.trial import Aim, Margin, Trial

__all__ = ["ALLOWABLE", "Difference", "Standing", "commonest", "plan_differences"]

Standing: TypeAlias = Literal["refused", "allowed", "noted"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One thing in which a grower's trial is not the trial of the group.

    Parameters
    ----------
    grower : str
        Key of the grower.
    shown : str
        What pages call the grower.
    kind : str
        One of `ALLOWABLE`; or ``outcome``, ``control``, ``growers`` (several share one layout) or
        ``invented``, which never pass; or ``species`` or ``picked``, which are only told.
    what : str
        In the grower's words, without a full stop at the end.
    key : str
        The place in the grower's plan.
    standing : {"refused", "allowed", "noted"}
        Whether it stops the pooling, was allowed by the user's word, or is only told.
    beside : str
        Key of another grower that it speaks of; for messages, and on no page.
    """

    grower: str
    shown: str
    kind: str
    what: str
    key: str = ""
    standing: Standing = "refused"
    beside: str = ""

    def __str__(self) -> str:
        return f"{self.shown}: {self.what}."


def commonest(plans: Sequence[Trial]) -> Trial:
    """Give the plan that most growers share, the first of those that are equally common.

    Parameters
    ----------
    plans : sequence of Trial
        One or more.

    Returns
    -------
    Trial
    """
    signs = [_signature(plan) for plan in plans]
    counts = Counter(signs)
    return max(zip(plans, signs, strict=True), key=lambda pair: counts[pair[1]])[0]


def plan_differences(
    trial: Trial, reference: Trial, *, grower: str, shown: str, allow: Collection[str] = ()
) -> tuple[Difference, ...]:
    """Hold one grower's plan against the plan of the group.

    Layout, seed, dates, costs and the unit of weight are each grower's own and not compared.

    Parameters
    ----------
    trial : Trial
        The grower's.
    reference : Trial
        The group's.
    grower, shown : str
        Key and shown name.
    allow : collection of str
        Words of `ALLOWABLE` that may pass.

    Returns
    -------
    tuple of Difference
        Empty where it is the same trial.
    """

    def standing(kind: str) -> Standing:
        if kind in _NOTED:
            return "noted"
        return "allowed" if kind in allow and kind in ALLOWABLE else "refused"

    found = (
        *_header(trial, reference),
        *_aims(trial.aim, reference.aim),
        *_treatments(trial, reference),
    )
    # With another outcome or control it is another trial: the rest would only be noise.
    other = [one for one in found if one[0] in _ANOTHER_TRIAL]
    return tuple(
        Difference(
            grower=grower, shown=shown, kind=kind, what=what, key=key, standing=standing(kind)
        )
        for kind, key, what in other or found
    )


_NOTED = ("species", "picked")
_ANOTHER_TRIAL = ("outcome", "control", "growers", "invented")
Found: TypeAlias = tuple[str, str, str]


def _header(trial: Trial, reference: Trial) -> Iterator[Found]:
    for kind, key, one, other in (
        ("question", "trial.question", trial.question, reference.question),
        ("species", "trial.species", trial.species, reference.species),
        ("unit", "trial.unit", trial.unit, reference.unit),
    ):
        if one and other and _plain(one) != _plain(other):
            yield kind, key, f"the {kind} is “{one}”, and “{other}” in the plan of the group"
    if trial.design.growers:
        yield "growers", "design.growers", "several growers share this one layout"
    if trial.invented != reference.invented:
        told = ("made up", "real")[:: 1 if trial.invented else -1]
        yield "invented", "trial.invented", f"this trial is {told[0]}, and the group's is {told[1]}"
    if trial.flushes != reference.flushes:
        what = f"{trial.flushes} flushes are planned, and {reference.flushes} in the group"
        yield "flushes", "trial.flushes", what
    levels = trial.design.applied_to, reference.design.applied_to
    if levels[0] != levels[1]:
        what = f"a treatment is given to one {levels[0]} at a time, and to one {levels[1]} in the "
        yield "batches", "design.applied_to", f"{what}group"


def _aims(aim: Aim, reference: Aim) -> Iterator[Found]:
    if aim.outcome != reference.outcome:
        what = f"the outcome is “{aim.outcome}”, and “{reference.outcome}” in the group"
        yield "outcome", "aim.outcome", what
        return
    if aim.claim != reference.claim:
        what = f"the claim is “{aim.claim}”, and “{reference.claim}” in the group"
        yield "claim", "aim.claim", what
    if aim.confidence != reference.confidence:
        what = f"the confidence is {aim.confidence:g}, and {reference.confidence:g} in the group"
        yield "claim", "aim.confidence", what
    if not _same_margin(aim.worthwhile, reference.worthwhile):
        mine, ours = (str(one.worthwhile or "not given") for one in (aim, reference))
        what = f"the smallest difference worth having is {mine}, and {ours} in the group"
        yield "margin", "aim.worthwhile", what


def _same_margin(one: Margin | None, other: Margin | None) -> bool:
    """Whether two margins are the same, in whatever unit of weight they were written."""
    if one is None or other is None or one.unit == other.unit:
        return one == other
    units = weight_unit(one.unit), weight_unit(other.unit)
    if units[0] is None or units[1] is None:
        return False
    weights = grams(one.value, units[0]), grams(other.value, units[1])
    return math.isclose(*weights, rel_tol=SAME_AMOUNT)


def _treatments(trial: Trial, reference: Trial) -> Iterator[Found]:
    mine = {one.code: one for one in trial.treatments}
    ours = {one.code: one for one in reference.treatments}
    if trial.control.code != reference.control.code:
        what = f"the others are compared with “{trial.control.code}”, and with "
        yield "control", "treatments", f"{what}“{reference.control.code}” in the group"
        return
    for code in ours:
        if code not in mine:
            yield "treatments", "treatments", f"there is no treatment “{code}” ({ours[code].name})"
    for place, (code, one) in enumerate(mine.items(), start=1):
        key = f"treatments[{place}]"
        other = ours.get(code)
        if other is None:
            what = f"the group has no treatment “{code}” ({one.name})"
            yield "treatments", f"{key}.code", what
            continue
        if _plain(one.name) != _plain(other.name):
            what = f"“{code}” is “{one.name}”, and “{other.name}” in the group"
            yield "names", f"{key}.name", what
        if dict(one.factors) != dict(other.factors):
            yield (
                "treatments",
                f"{key}.factors",
                f"“{code}” combines other things than in the group",
            )
        for what in recipe_differs(trial, one, reference, other):
            yield "recipe", f"{key}.recipe", f"“{code}”: {what}"


def _plain(text: str) -> str:
    """Leave out what is no difference of words: capitals, spaces and the last mark."""
    return " ".join(text.casefold().split()).rstrip(" .?!")


def _signature(trial: Trial) -> object:
    """Give what is compared as one value that can be counted."""
    recipes = {
        one.name: (one.moisture_target, *((part.name, part.grams) for part in one.ingredients))
        for one in trial.recipes
    }
    return (
        _plain(trial.question),
        _plain(trial.unit),
        trial.flushes,
        trial.design.applied_to,
        trial.invented,
        trial.aim,
        trial.control.code,
        tuple(
            (one.code, _plain(one.name), one.factors, recipes.get(one.recipe or ""))
            for one in trial.treatments
        ),
    )

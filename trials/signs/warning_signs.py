"""The warning signs of a plan, said before the first bag is filled.

Each sign is a function in `SIGNS` that takes the plan and the drawn layout, so that a new one is
one function more. A sign stops nothing: the grower decides.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Literal, TypeAlias

from trials.designs.efficiency import efficiency, incidence
from trials.layout import Layout
from trials.plurals import plural
from trials.recipes.recipe_differences import recipe_differences
from trials.signs.freedom import Stratum, freedom_words, strata
from trials.signs.reach import margin_sign
from trials.trial import Trial

__all__ = ["FEWEST_DF", "FEWEST_REPLICATES", "ROUGH_DF", "SIGNS", "Sign", "warning_signs"]

FEWEST_DF = 12
"""Fewest residual degrees of freedom of an adequate trial (EPPO PP 1/152(4))."""

ROUGH_DF = 15
"""What guides to that standard advise where measuring is rough."""

FEWEST_REPLICATES = 4
"""Guides for trials on farms: four to six blocks (Mississippi State University Extension P3930)."""

_HEAT_WORDS = (
    "steam", "boil", "pasteur", "steril", "autoclave", "pressure", "hot water", "soak", "lime",
    "°c", "°f", " hour", " minutes", " min",
)  # fmt: skip

Weight: TypeAlias = Literal["warning", "advice"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """Something that may keep a trial from answering its question.

    Parameters
    ----------
    name : str
        Short and fixed, for programs.
    what : str
        A sentence.
    mend : str
        What to do about it, a sentence.
    weight : {"warning", "advice"}
        Advice would make a sound trial better.
    """

    name: str
    what: str
    mend: str
    weight: Weight = "warning"

    def __str__(self) -> str:
        return f"{self.what} {self.mend}"

    def to_dict(self) -> dict[str, object]:
        """Give the machine's form."""
        return asdict(self)


def warning_signs(trial: Trial, layout: Layout) -> tuple[Sign, ...]:
    """Look a plan and its layout over.

    Parameters
    ----------
    trial : Trial
    layout : Layout
        As drawn from it.

    Returns
    -------
    tuple of Sign
        Warnings first.
    """
    found = [sign for look in SIGNS for sign in look(trial, layout)]
    return tuple(sorted(found, key=lambda one: one.weight != "warning"))


def _one_batch(trial: Trial, layout: Layout) -> list[Sign]:
    del layout
    batches = [one for one in strata(trial) if one.unit == "batch"]
    if not batches or batches[0].units > 1:
        return []
    what = (
        f"Each of the {batches[0].compared} is given to one batch. One batch a side cannot tell a "
        "better method from a luckier batch."
    )
    return [Sign(name="one batch", what=what, mend="Make more, smaller batches of each.")]


def _few_df(trial: Trial, layout: Layout) -> list[Sign]:
    del layout
    found = []
    for one in strata(trial):
        if one.df >= ROUGH_DF or one.units < 2:
            continue
        whom = "" if one.compared == "treatments" else f"the {one.compared} "
        left = f"{whom}{freedom_words(one.df)}"
        if one.df < FEWEST_DF:
            what = f"This plan leaves {left}; a standard for trials asks for {FEWEST_DF} or more."
            found.append(Sign(name="few df", what=what, mend=_more(trial, one)))
        else:
            what = f"This plan leaves {left}: enough where weighing is exact."
            mend = f"Where it is rough, {ROUGH_DF} or more are advised."
            found.append(Sign(name="few df", what=what, mend=mend, weight="advice"))
    return found


def _more(trial: Trial, stratum: Stratum) -> str:
    if trial.design.layout == "latin square":
        return 'Add treatments, or choose "rows and columns" with more rows.'
    if stratum.unit == "grower":
        return "Ask more growers: for what a mix does in general, a grower is one try."
    if trial.design.block:
        return f"Add another {trial.design.block} or more, or more {plural(stratum.unit)} in each."
    return f"Add {plural(stratum.unit)} of each treatment."


def _few_replicates(trial: Trial, layout: Layout) -> list[Sign]:
    del layout
    few = [
        one for one in strata(trial)
        if 1 < one.units < FEWEST_REPLICATES and one.unit != "grower"  # said by `_growers`
    ]  # fmt: skip
    return [
        Sign(
            name="few replicates",
            what=f"There are only {one.units} {plural(one.unit)} of each of the {one.compared}.",
            mend=f"Plan {FEWEST_REPLICATES} or more; five or six where differences are small.",
        )
        for one in few
    ]


def _heat_by_bag(trial: Trial, layout: Layout) -> list[Sign]:
    del layout
    if trial.design.applied_to == "batch" or trial.design.batch_factor:
        return []
    named = [
        one.name
        for one in trial.treatments
        if any(word in f" {one.name.lower()}" for word in _HEAT_WORDS)
    ]
    if len(named) < 2:
        return []
    word = trial.unit
    return [
        Sign(
            name="counted by bag",
            what=f"“{named[0]}” and “{named[1]}” look like something that a whole batch gets at "
            f"once, and the plan counts every {word}.",
            mend='If so, write applied_to = "batch": a batch is one try, however many it holds. If '
            f"each {word} is treated by itself, all is well.",
        )
    ]


def _one_mixing(trial: Trial, layout: Layout) -> list[Sign]:
    """Recipes are mixed in loads; one load a recipe puts the mixing into the comparison."""
    del layout
    recipes = {one.recipe for one in trial.treatments}
    if trial.design.applied_to == "batch" or len(recipes) < 2:
        return []
    where = f"each {trial.design.block}" if trial.design.block else "a part of the bags"
    return [
        Sign(
            name="one mixing",
            what="If every mix is made in one go, with one lot of spawn for each, a slip in it "
            "looks like the mix.",
            mend=f"Make each mix afresh for {where}, and share every lot of spawn among all mixes.",
            weight="advice",
        )
    ]


def _recipes_differ(trial: Trial, layout: Layout) -> list[Sign]:
    """Find what a fair trial would have kept alike."""
    del layout
    mend = "Make them alike, or say that the mix as a whole is what is tested."
    return [
        Sign(name="recipes differ", what=f"Besides the thing tested, {told}", mend=mend)
        for told in recipe_differences(trial)
    ]


def _apart(trial: Trial, layout: Layout) -> list[Sign]:
    """Two treatments that never stand among each other (Hurlbert 1984, Ecol. Monogr. 54, 187)."""
    if trial.design.layout != "completely random":
        return []
    stands: dict[str, list[int]] = {}
    for slot in layout.slots:
        stands.setdefault(slot.treatment, []).append(slot.position)
    control = stands[trial.control.code]
    apart = [
        one.name
        for one in trial.challengers
        if max(stands[one.code]) < min(control) or min(stands[one.code]) > max(control)
    ]
    if not apart:
        return []
    what = (
        f"By the luck of the draw all of “{apart[0]}” stands to one side of "
        f"“{trial.control.name}”, so that a difference could be the place."
    )
    mend = "Draw again with another seed before anything is filled, or use blocks."
    return [Sign(name="apart", what=what, mend=mend)]


def _low_efficiency(trial: Trial, layout: Layout) -> list[Sign]:
    if trial.design.layout != "incomplete blocks":
        return []
    found = efficiency(incidence(trial, layout))
    if found.factor == 0 or math.isinf(found.factor):
        what = f"The blocks ({trial.design.block}) share too few treatments to compare them all."
        return [Sign(name="not connected", what=what, mend="Add places, or use fewer treatments.")]
    if found.factor >= 0.7:
        return []
    what = (
        f"Blocks this small keep {100 * found.factor:.0f} % of what complete blocks would tell, "
        "if both were equally even."
    )
    return [Sign(name="low efficiency", what=what, mend="Larger blocks would keep more.",
                 weight="advice")]  # fmt: skip


def _growers(trial: Trial, layout: Layout) -> list[Sign]:
    del layout
    if len(trial.design.growers) < 2 or len(trial.design.growers) >= FEWEST_REPLICATES:
        return []
    what = f"{len(trial.design.growers)} growers say little of what another grower should expect."
    return [Sign(name="few growers", what=what, mend="Ask more growers, with fewer bags each.",
                 weight="advice")]  # fmt: skip


def _control_units(trial: Trial, layout: Layout) -> list[Sign]:
    """Advise the square-root rule (Dunnett 1955, JASA 50, 1096-1121)."""
    del layout
    others, design = len(trial.challengers), trial.design
    allowed = design.layout in ("completely random", "complete blocks", "incomplete blocks")
    if others < 3 or design.extra_control_units or trial.factors or not allowed:
        return []
    wanted = round(design.units_per_treatment * math.sqrt(others))
    extra = wanted - design.units_per_treatment
    if extra < 1:
        return []
    what = (
        f"All {others} others are compared with one control; {wanted} control "
        f"{plural('batch' if design.applied_to == 'batch' else trial.unit)} for "
        f"{design.units_per_treatment} of each other use the same work best (the square root of "
        "the number of others)."
    )
    mend = f"If there is room, write extra_control_units = {extra}."
    return [Sign(name="control units", what=what, mend=mend, weight="advice")]


def _not_blind(trial: Trial, layout: Layout) -> list[Sign]:
    del layout
    if trial.blind:
        return []
    what = "The labels will show the treatment, so that whoever weighs knows which is which."
    return [Sign(name="not blind", what=what, mend="Write blind = true.", weight="advice")]


def _out_of_reach(trial: Trial, layout: Layout) -> list[Sign]:
    told = margin_sign(trial, layout)
    return [Sign(name="out of reach", what=told[0], mend=told[1])] if told else []


SIGNS: tuple[Callable[[Trial, Layout], list[Sign]], ...] = (
    _one_batch, _few_df, _few_replicates, _heat_by_bag, _apart, _out_of_reach, _low_efficiency,
    _recipes_differ, _one_mixing, _control_units, _growers, _not_blind,
)  # fmt: skip

"""The unit that counts: the smallest thing that could have received another treatment.

Hurlbert (1984), Ecological Monographs 54, 187-211; ARRIVE 2.0, item 1; Campbell et al. (2012),
BMJ 345, e5661 (CONSORT for cluster trials).
"""

from __future__ import annotations

from dataclasses import dataclass

from trials.plurals import plural
from trials.records import Records

__all__ = ["UnitStory", "unit_story"]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitStory:
    """Which unit counts, and why.

    Parameters
    ----------
    counted : str
        The grower's word for a bag, or ``batch``.
    total : int
        How many there are in the trial.
    per_treatment : tuple of (str, int)
        Treatment code and number of units.
    why : str
        One plain sentence.
    blocks : int
        How many blocks; 0 where there are none.
    block : str
        What a block is; empty where there are none.
    """

    counted: str
    total: int
    per_treatment: tuple[tuple[str, int], ...]
    why: str
    blocks: int = 0
    block: str = ""


def unit_story(records: Records) -> UnitStory:
    """Say which unit counts in a trial, and why.

    Parameters
    ----------
    records : Records

    Returns
    -------
    UnitStory
        Batches, where the plan applies treatments to batches or the records show that no batch
        ever held two treatments; otherwise bags.
    """
    trial, bags = records.trial, records.bags
    word = trial.unit
    named = bags["batch"] != ""
    tracked = bool(named.any())
    mixed = tracked and bool((bags[named].groupby("batch")["treatment"].nunique() > 1).any())
    by_plan = trial.design.applied_to == "batch"
    if tracked and (by_plan or not mixed):
        counts = bags[named].groupby("treatment")["batch"].nunique()
        why = (
            f"Each treatment was given to whole batches, so one batch is one try: "
            f"{plural(word)} of one batch share its luck."
        )
        counted = "batch"
    else:
        counts = bags.groupby("treatment")["code"].nunique()
        why = f"Each {word} could have been given any of the treatments, so each one is one try."
        counted = word
        if trial.design.batch_factor:
            factor = trial.design.batch_factor
            why = (
                f"The {factor} was given to whole batches, so for it one batch is one try. All "
                f"else was given to each {word} by itself, so for that one {word} is one try."
            )
    if len(trial.design.growers) > 1:
        why += (
            " For what a mix does at growers in general, one grower is one try: weights are "
            f"judged by how {len(trial.design.growers)} growers differ."
        )
    per_treatment = tuple((one.code, int(counts.get(one.code, 0))) for one in trial.treatments)
    blocked = trial.design.layout != "completely random"
    return UnitStory(
        counted=counted,
        total=sum(count for _, count in per_treatment),
        per_treatment=per_treatment,
        why=why,
        blocks=len(records.layout.blocks) if blocked else 0,
        block=trial.design.block if blocked else "",
    )

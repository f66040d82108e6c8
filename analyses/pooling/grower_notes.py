"""What a reader should know of each grower's trial."""

from __future__ import annotations

import pandas as pd

from analyses.flush.counts import picked_flushes
from analyses.pooling.answers import GrowerNotes
from trials.records import Records
from trials.together import GrowerTrial, Together

__all__ = ["grower_notes"]


def grower_notes(together: Together) -> tuple[GrowerNotes, ...]:
    """Tell of each grower what is particular: losses, units, who stopped early, doubts.

    Parameters
    ----------
    together : Together

    Returns
    -------
    tuple of GrowerNotes
        In the order of the growers.
    """
    return tuple(_notes(one, together) for one in together.growers)


def _notes(one: GrowerTrial, together: Together) -> GrowerNotes:
    records = one.records
    problems = together.problems.get(one.key, ())
    return GrowerNotes(
        key=one.key,
        shown=one.shown,
        bags=len(records.bags),
        lost=int((records.bags["fate"] == "contaminated").sum()),
        unit=records.trial.unit,
        weights=records.trial.weights,
        flushes=picked_flushes(records),
        remarks=(
            *_blocks_gone(records),
            *_unknown(records),
            *_stopped(records, together),
            *_weighed_in(records, together),
            *_lacks(one, together),
        ),
        problems=tuple(str(problem) for problem in problems),
        facts=tuple(one.notes.items()),
    )


def _blocks_gone(records: Records) -> list[str]:
    """Name whole blocks of which no bag reached its end."""
    bags, word = records.bags, records.trial.design.block or "block"
    unrecorded, other = (bags["fate"] == name for name in ("not recorded", "lost otherwise"))
    gone = []
    for block in bags.loc[unrecorded | other, "block"].unique():
        here = bags["block"] == block
        if not block or not (unrecorded | other)[here].all():
            continue
        label = str(block) if word in str(block) else f"{word} {block}"
        if unrecorded[here].all():
            gone.append(f"Nothing was written down of {label}.")
        else:
            gone.append(f"All of {label} was lost, not to mould.")
    return gone


def _unknown(records: Records) -> list[str]:
    bags = records.bags
    counts = bags["fate"].value_counts()
    word, told = records.trial.unit, []
    other = int(counts.get("lost otherwise", 0))
    if other:
        told.append(f"{other} {_many(word, other)} lost otherwise than to mould.")
    going = int(counts.get("still going", 0))
    if going:
        told.append(f"{going} {_many(word, going)} still going.")
    recorded = bags["fate"] != "not recorded"
    missing = int((bags["total_g"].isna() & recorded).sum())
    if missing:
        told.append(f"The total of {missing} {_many(word, missing)} not known.")
    return told


def _many(word: str, count: int) -> str:
    return f"{word} is" if count == 1 else f"{word}s are"


def _stopped(records: Records, together: Together) -> list[str]:
    last, planned = picked_flushes(records), together.reference.flushes
    if not 0 < last < planned:
        return []
    return [f"Picking stopped after flush {last} of {planned}."]


def _weighed_in(records: Records, together: Together) -> list[str]:
    mine, page = records.trial.weights, together.reference.weights
    return [f"Weighed in {mine}; turned into {page} here."] if mine != page else []


def _lacks(one: GrowerTrial, together: Together) -> list[str]:
    trial, here = together.reference, set(one.treatments)
    lacking = [each.name for each in trial.treatments if each.code not in here]
    bags = one.records.bags
    empty = [
        trial.treatment(code).name for code in one.treatments
        if not _any_known(bags[bags["treatment"] == code])
    ]  # fmt: skip
    told = [f"Has no “{name}”." for name in lacking]
    return told + [f"Wrote nothing down of “{name}”." for name in empty]


def _any_known(bags: pd.DataFrame) -> bool:
    return bool((bags["fate"] != "not recorded").any())

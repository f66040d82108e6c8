"""What a reader should know of each grower's trial."""

from __future__ import annotations

import pandas as pd

from analyses.flush.counts import picked_flushes
from analyses.pooling.answers import GrowerNotes
from trials.plurals import counted
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
        problems=tuple(_unnamed(str(problem), one) for problem in problems),
        facts=tuple(one.notes.items()),
    )


def _unnamed(text: str, one: GrowerTrial) -> str:
    """Take out the name of the folder, which the grower may not have agreed to show."""
    return text.replace(f"{one.key}/", "").replace(one.key, one.shown)


def _gone(records: Records) -> list[tuple[str, int, str]]:
    """Find whole blocks of which no bag reached its end: name, bags, and what became of them."""
    bags = records.bags
    unrecorded, other = (bags["fate"] == name for name in ("not recorded", "lost otherwise"))
    gone = []
    for block in bags.loc[unrecorded | other, "block"].unique():
        here = bags["block"] == block
        if block and (unrecorded | other)[here].all():
            fate = "not recorded" if unrecorded[here].all() else "lost otherwise"
            gone.append((str(block), int((other & here).sum()), fate))
    return gone


def _blocks_gone(records: Records) -> list[str]:
    word, told = records.trial.design.block or "block", []
    for block, _, fate in _gone(records):
        label = block if word in block else f"{word} {block}"
        if fate == "not recorded":
            told.append(f"Nothing was written down of {label}.")
        else:
            told.append(f"All of {label} was lost, not to contamination.")
    return told


def _unknown(records: Records) -> list[str]:
    bags, word, told = records.bags, records.trial.unit, []
    counts = bags["fate"].value_counts()
    other = int(counts.get("lost otherwise", 0)) - sum(one for _, one, _ in _gone(records))
    if other:
        told.append(f"{_many(other, word)} lost otherwise than to contamination.")
    going = int(counts.get("still going", 0))
    if going:
        told.append(f"{going} still going when this was written.")
    recorded = bags["fate"] != "not recorded"
    missing = int((bags["total_g"].isna() & recorded).sum())
    if missing:
        told.append(f"{_many(missing, word)} not weighed in full.")
    return told


def _many(count: int, word: str) -> str:
    return f"{counted(count, word)} {'was' if count == 1 else 'were'}"


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

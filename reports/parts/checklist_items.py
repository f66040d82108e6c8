"""What a full report of a trial holds, item by item, and whether this one does.

The items follow CONSORT 2010 (Schulz, Altman & Moher 2010, BMJ 340, c332) and, where whole
batches were treated, its extension to clusters (Campbell, Piaggio, Elbourne & Altman 2012, BMJ
345, e5661), in words of our own. What asks for patients has no item here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

from analyses.analysis import Analysis
from reports.wording.grammar import plural
from reports.wording.names import printable, unit_word

__all__ = ["Item", "State", "checklist"]

State: TypeAlias = Literal["told", "missing", "not needed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing that a full report holds.

    Parameters
    ----------
    number : str
        Of the item in CONSORT 2010; with a C in front in the extension to clusters.
    asked : str
        What it asks for, in our words.
    state : {"told", "missing", "not needed"}
        Whether this report holds it.
    where : str
        Heading under which it stands, or why it is not needed; empty where it is missing.
    next_time : str
        What to write down next time; empty unless it is missing.
    """

    number: str
    asked: str
    state: State
    where: str
    next_time: str


_Rule: TypeAlias = tuple[str, str, str, Callable[[Analysis], bool], str]
"""Number, what is asked, where it would stand, whether it is there, what to write next time."""

_ANSWER, _HOW, _PLANNED = "The answer", "How it was done", "What was planned and what was done"
_TRUST, _NOT_SAID, _LOSSES = "How far to trust it", "What it cannot say", "Losses"
_TREATMENTS, _NUMBERS = "Each treatment", "The numbers for a statistician"
_PLAN = "the plan, trial.toml"


def checklist(analysis: Analysis) -> tuple[Item, ...]:
    """Go through the items.

    Parameters
    ----------
    analysis : Analysis
        What the plan and the records say.

    Returns
    -------
    tuple of Item
        In the order of the published list.
    """
    items = [_item(rule, analysis) for rule in _RULES]
    items += [_looks(analysis), _alike(analysis), _why_lost(analysis), _ratio(analysis)]
    if analysis.unit.counted == "batch":
        items += [_item(rule, analysis) for rule in _CLUSTERS]
    return tuple(sorted(items, key=lambda one: _place(one.number)))


def _place(number: str) -> tuple[bool, int, str]:
    bare = number.removeprefix("C ")
    digits = "".join(sign for sign in bare if sign.isdigit())
    return number.startswith("C"), int(digits), bare


def _item(rule: _Rule, analysis: Analysis) -> Item:
    number, asked, where, is_there, next_time = rule
    there = is_there(analysis)
    return Item(
        number=number, asked=asked, state="told" if there else "missing",
        where=where if there else "", next_time="" if there else next_time,
    )  # fmt: skip


def _always(_analysis: Analysis) -> bool:
    return True


def _question(analysis: Analysis) -> bool:
    return bool(printable(analysis.records.trial.question))


def _species(analysis: Analysis) -> bool:
    trial = analysis.records.trial
    return bool(printable(trial.species) and printable(trial.strain))


def _place_named(analysis: Analysis) -> bool:
    return bool(printable(analysis.records.trial.place))


def _treatments(analysis: Analysis) -> bool:
    return all(one.recipe or printable(one.note) for one in analysis.records.trial.treatments)


def _locked(analysis: Analysis) -> bool:
    return bool(analysis.locked)


def _grower(analysis: Analysis) -> bool:
    return bool(printable(analysis.records.trial.grower))


def _begun(analysis: Analysis) -> bool:
    return analysis.records.trial.start is not None


def _dry_weights(analysis: Analysis) -> bool:
    return bool(analysis.bags["dry_weight_g"].notna().all())


def _fates(analysis: Analysis) -> bool:
    return not any(step.not_recorded for step in analysis.flow)


def _ranges(analysis: Analysis) -> bool:
    planned = [one for one in analysis.findings if one.planned]
    return bool(planned) and all(one.verdict != "withheld" for one in planned)


def _correlation(analysis: Analysis) -> bool:
    return any(one.correlation == one.correlation for one in analysis.naive)


def _why_so_many(analysis: Analysis) -> bool:
    return bool(printable(analysis.records.trial.why_this_size))


def _paid(analysis: Analysis) -> bool:
    return bool(printable(analysis.records.trial.paid_by))


_RULES: tuple[_Rule, ...] = (
    ("1", "That lots were drawn, and a short summary, at the top", _ANSWER, _always, ""),
    ("2a", "Why the question is asked", _PLANNED, _question,
     "Under question in the plan: what you want to know."),
    ("2b", "What was to be shown, and from what size on it matters", _PLANNED, _always, ""),
    ("3a", "The layout, and how many of each", _HOW, _always, ""),
    ("3b", "What was changed after the start, and why", _PLANNED, _locked,
     "Draw with pinset layout, which locks the plan; then changes show."),
    ("4a", "What was grown: species and strain", _NOT_SAID, _species,
     "Under species and strain in the plan: both."),
    ("4b", "Where", _NOT_SAID, _place_named, "Under place in the plan: the room."),
    ("5", "Each treatment, so that another can repeat it", _PLAN, _treatments,
     "In the plan: a recipe, or a note, for every treatment."),
    ("6a", "What was measured, and the one measure that decides", _PLANNED, _always, ""),
    ("6b", "Whether the measure was changed after the start", _PLANNED, _locked,
     "Draw with pinset layout, which locks the plan; then changes show."),
    ("7a", "Why so many, no more and no fewer", _PLAN, _why_so_many,
     "Run pinset size before the draw; under why_this_size in the plan: what it says."),
    ("8a", "How the lots were drawn", _HOW, _always, ""),
    ("8b", "What was shuffled among what", _HOW, _always, ""),
    ("9", "That nobody could choose a place after seeing the lot", _TRUST, _locked,
     "Draw with pinset layout, which locks plan and places together."),
    ("10", "Who drew, who mixed and who placed", _PLAN, _grower,
     "Under grower in the plan: who did what."),
    ("11a", "Who knew which treatment was which", _HOW, _always, ""),
    ("12a", "How the answer was worked out", _NUMBERS, _always, ""),
    ("12b", "How anything else was worked out", _NUMBERS, _always, ""),
    ("13a", "How many were made, lost and counted, side by side", _LOSSES, _fates,
     "In the record book: what became of each one, also of those that gave nothing."),
    ("14a", "When it began", _NOT_SAID, _begun, "Under start in the plan: the first day."),
    ("14b", "When it ended, and why then", _PLANNED, _always, ""),
    ("15", "What the units were like at the start", _TREATMENTS, _dry_weights,
     "In the record book: the dry weight of each one, which shows that the sides began alike."),
    ("16", "How many each number rests on", _TREATMENTS, _always, ""),
    ("17a", "The difference, with its range", _ANSWER, _ranges,
     "Plan two or more of what counts on each side, or no range can be had."),
    ("18", "What was looked at afterwards, apart from what was planned", _PLANNED, _always, ""),
    ("19", "Harm: what was lost, and what can hurt", _LOSSES, _always, ""),
    ("20", "What may have misled", _TRUST, _always, ""),
    ("21", "Where else it may hold", _NOT_SAID, _always, ""),
    ("22", "What it means, gains and costs weighed", _ANSWER, _always, ""),
    ("23", "A mark that the plan came first", _HOW, _locked,
     "Draw with pinset layout, which locks the plan with its date and fingerprint."),
    ("24", "Where the whole plan can be read", _PLAN, _always, ""),
    ("25", "Who paid, and who gave the material", _PLAN, _paid,
     "Under paid_by in the plan: who paid for it, and who gave what was compared."),
)  # fmt: skip

_CLUSTERS: tuple[_Rule, ...] = (
    ("C 3a", "Why whole batches were treated, and what a batch is", _TRUST, _always, ""),
    ("C 12a", "How the answer allows for batches", _NUMBERS, _always, ""),
    ("C 13a", "How many batches, and how many in each", _LOSSES, _always, ""),
    ("C 17a", "How alike the units of one batch are", _NUMBERS, _correlation,
     "Several batches on each side, or it cannot be told."),
)  # fmt: skip


def _looks(analysis: Analysis) -> Item:
    flushes = analysis.records.trial.flushes
    return Item(
        number="7b", asked="Whether one looked early, and stopped by what one saw",
        state="not needed", next_time="",
        where=f"the end was fixed before the start: flush {flushes}",
    )  # fmt: skip


def _alike(analysis: Analysis) -> Item:
    """Whether treatments can be told apart by eye; only where labels were to hide them."""
    trial = analysis.records.trial
    asked = "Whether the treatments look alike to whoever weighs"
    if not trial.blind:
        return Item(
            number="11b", asked=asked, state="not needed", next_time="",
            where="the labels did not hide the treatment",
        )  # fmt: skip
    if printable(trial.look_alike):
        return Item(number="11b", asked=asked, state="told", where=_PLAN, next_time="")
    return Item(
        number="11b", asked=asked, state="missing", where="",
        next_time="Under look_alike in the plan: whether one can tell the treatments apart by eye.",
    )  # fmt: skip


def _why_lost(analysis: Analysis) -> Item:
    """Whether it is written down how each lost unit looked, as far as there were any."""
    bags = analysis.bags
    lost = bags[bags["fate"].isin(["contaminated", "lost otherwise"])]
    asked, units = "How each loss came about", plural(unit_word(analysis.records.trial))
    if lost.empty:
        return Item(
            number="13b", asked=asked, state="not needed", where=f"no {units} were lost",
            next_time="",
        )  # fmt: skip
    silent = int(((lost["seen"] == "") & (lost["note"] == "")).sum())
    if silent:
        return Item(
            number="13b", asked=asked, state="missing", where="",
            next_time=f"In the record book, under seen: what was seen on each lost one ({silent} "
            f"of {len(lost)} have nothing).",
        )  # fmt: skip
    return Item(number="13b", asked=asked, state="told", where=_LOSSES, next_time="")


def _ratio(analysis: Analysis) -> Item:
    """Whether losses are compared in more than one measure, where they are compared at all."""
    compared = [one for one in analysis.findings if one.estimate.outcome == "contamination"]
    asked = "Losses as a difference and as a ratio"
    if not compared:
        return Item(
            number="17b", asked=asked, state="not needed", where="losses were not compared",
            next_time="",
        )  # fmt: skip
    if any(one.companions for one in compared):
        return Item(number="17b", asked=asked, state="told", where=_NUMBERS, next_time="")
    return Item(
        number="17b", asked=asked, state="missing", where="",
        next_time="Plan so many of what counts that losses on both sides can be expected.",
    )  # fmt: skip

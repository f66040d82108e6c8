"""The list of what a full report holds, as it stands on the page: what is missing first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from analyses.analysis import Analysis
from reports.parts.blocks import Block, Bullets, Details, Paragraph
from reports.parts.checklist_items import Item, checklist
from reports.wording.grammar import capital, counted, in_words
from reports.wording.names import printable

__all__ = ["checklist_details"]

_SOURCES = (
    "The items follow CONSORT 2010 (Schulz, Altman & Moher 2010, BMJ 340, c332)",
    " and its extension to clusters (Campbell and others 2012, BMJ 345, e5661)",
    ", in our own words.",
)


def checklist_details(analysis: Analysis) -> Details:
    """Give the list, folded away under how many of its items are told.

    Parameters
    ----------
    analysis : Analysis
        What the plan and the records say.
    """
    items = checklist(analysis)
    told, missing, spare = (
        [one for one in items if one.state == state] for state in ("told", "missing", "not needed")
    )
    blocks = (
        *_listed("Missing, and what to write down next time:", map(_missing, missing)),
        *_listed("Told, and where:", _told(told)),
        *_listed("In the words of the plan:", _quoted(told, analysis)),
        *_listed("Not needed here:", map(_spare, spare)),
        Paragraph(text=_source(items)),
    )
    return Details(
        summary=f"What a full report holds: {len(told)} of "
        f"{counted(len(told) + len(missing), 'item')} told, {in_words(len(missing))} missing",
        blocks=blocks,
    )


def _source(items: Sequence[Item]) -> str:
    clusters = any(one.number.startswith("C") for one in items)
    return "".join(_SOURCES if clusters else _SOURCES[::2])


def _listed(heading: str, lines: Iterable[str]) -> tuple[Block, ...]:
    told = tuple(lines)
    return (Paragraph(text=heading), Bullets(items=told)) if told else ()


def _missing(one: Item) -> str:
    return f"{one.asked} ({one.number}). {one.next_time}"


def _told(items: Sequence[Item]) -> Iterable[str]:
    """Gather what is told by where it stands."""
    for place in dict.fromkeys(one.where for one in items):
        here = [f"{one.asked} ({one.number})" for one in items if one.where == place]
        yield f"{capital(place)}: {'; '.join(here)}."


def _quoted(items: Sequence[Item], analysis: Analysis) -> Iterable[str]:
    """Repeat what stands in the plan only, so that the page holds it too."""
    trial = analysis.records.trial
    words = {"7a": trial.why_this_size, "11b": trial.look_alike, "25": trial.paid_by}
    for one in items:
        if one.number in words:
            yield f"{one.asked} ({one.number}): “{printable(words[one.number])}”."


def _spare(one: Item) -> str:
    return f"{one.asked} ({one.number}): {one.where}."

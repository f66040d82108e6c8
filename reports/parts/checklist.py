"""The list of what a full report holds, as it stands on the page: what is missing first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from analyses.analysis import Analysis
from reports.parts.blocks import Block, Details, Paragraph, Table
from reports.parts.checklist_items import Item, checklist
from reports.wording.grammar import counted, in_words

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
    blocks: list[Block] = [_missing(missing)] if missing else []
    blocks += [_told(told), *([_spare(spare)] if spare else []), Paragraph(text=_source(items))]
    return Details(
        summary=f"What a full report holds: {len(told)} of "
        f"{counted(len(told) + len(missing), 'item')} told, {in_words(len(missing))} missing",
        blocks=tuple(blocks),
    )


def _source(items: Sequence[Item]) -> str:
    clusters = any(one.number.startswith("C") for one in items)
    return "".join(_SOURCES if clusters else _SOURCES[::2])


def _missing(items: Sequence[Item]) -> Table:
    return Table(
        caption="Missing",
        columns=("Item", "What to write down next time", "No."),
        rows=tuple((one.asked, one.next_time, one.number) for one in items),
        numeric=(False,) * 3,
    )


def _told(items: Sequence[Item]) -> Table:
    """Gather what is told by where it stands."""
    places = dict.fromkeys(one.where for one in items)
    gathered = {place: [one for one in items if one.where == place] for place in places}
    return Table(
        caption="Told, and where",
        columns=("Where", "Items", "No."),
        rows=tuple(
            (place, _joined(one.asked for one in here), ", ".join(one.number for one in here))
            for place, here in gathered.items()
        ),
        numeric=(False,) * 3,
    )


def _spare(items: Sequence[Item]) -> Table:
    return Table(
        caption="Not needed here",
        columns=("Item", "Because", "No."),
        rows=tuple((one.asked, one.where, one.number) for one in items),
        numeric=(False,) * 3,
    )


def _joined(asked: Iterable[str]) -> str:
    return "; ".join(asked) + "."

"""The list of what a full report holds, as it stands on the page."""

from __future__ import annotations

from analyses.analysis import Analysis
from reports.parts.blocks import Details, Paragraph, Table
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
    missing = [one for one in items if one.state == "missing"]
    asked = [one for one in items if one.state != "not needed"]
    told = len(asked) - len(missing)
    clusters = any(one.number.startswith("C") for one in items)
    source = "".join(_SOURCES if clusters else _SOURCES[::2])
    return Details(
        summary=f"What a full report holds: {told} of {counted(len(asked), 'item')} told, "
        f"{in_words(len(missing))} missing",
        blocks=(Paragraph(text=source), _table(items)),
    )


def _table(items: tuple[Item, ...]) -> Table:
    return Table(
        caption="What a reader needs, and where it stands",
        columns=("Item", "Here", "Where, or what to write down next time", "No."),
        rows=tuple((one.asked, one.state, one.where or one.next_time, one.number) for one in items),
        numeric=(False,) * 4,
    )

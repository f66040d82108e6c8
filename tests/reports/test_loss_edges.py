"""Losses at the edges, from records to the words on the page."""

from __future__ import annotations

import re

import pytest

from analyses.questions import analyse
from reports.plain_text import to_text
from reports.report import write_report
from tests.analyses.losses import NO_WORSE, batches, lost_records

EDGES = {
    "all lost, bag by bag": [("T", 20, 20), ("C", 20, 20)],
    "none lost, bag by bag": [("T", 0, 40), ("C", 0, 40)],
    "one bag a side": [("T", 1, 1), ("C", 0, 1)],
    "none lost in any batch": batches("T", [0] * 6, 12) + batches("C", [0] * 6, 12, first=20),
    "all lost in every batch": batches("T", [12] * 6, 12) + batches("C", [12] * 6, 12, first=20),
    "one batch lost whole": batches("T", [0, 1, 0, 12, 0, 1], 12)
    + batches("C", [0, 1, 0, 0, 0, 1], 12, first=20),
    "only one batch hit": batches("T", [0, 0, 0, 12, 0, 0], 12)
    + batches("C", [0] * 6, 12, first=20),
    "batches of unequal size": batches("T", [1, 0, 3, 1, 2], [12, 4, 20, 1, 9])
    + batches("C", [0, 2, 3, 1], [10, 10, 3, 5], first=20),
    "a batch with both": batches("T", [1, 2, 3, 1]) + batches("C", [1, 2, 3, 0], first=4),
    "one batch a side": batches("T", [3], 12) + batches("C", [1], 12, first=9),
}
"""Cells of lost_records; with a fourth entry whole batches are treated."""

SAID = {
    "all lost, bag by bag": (
        "All 20 bags with mix T were lost; with luck like this it could be as few as 83 in a "
        "hundred.",
    ),
    "none lost, bag by bag": (
        "None of 40 bags with mix T was lost; up to 9 in a hundred could still be, with luck like "
        "this.",
    ),
    "one bag a side": (
        "The one bag with mix T was lost;",
        "The one bag with mix C was not lost; up to 98 in a hundred could still be",
        "cannot tell",
    ),
    "none lost in any batch": (
        "up to 46 in a hundred could still be",
        "anything from 46 fewer to 46 more",
        "No batch lost any bag, which shows nothing of how much batches differ",
    ),
    "all lost in every batch": (
        "All 72 bags from 6 batches with mix T were lost",
        "Every batch lost every bag, which shows nothing of how much batches differ",
    ),
    "one batch lost whole": (
        "The batches say: anything from 31 fewer to 59 more.",
        "Counting the bags as if each stood alone would have claimed: between 7 and 28 more",
    ),
    "only one batch hit": (
        "Only 1 of 12 batches lost any bag. One alone cannot show how much batches differ",
        "anything from 46 fewer to 64 more",
    ),
    "batches of unequal size": ("Batches hold 1 to 20 bags of known fate; each counts once.",),
    "a batch with both": (
        "More than one treatment stood in batch 4; each part counts as a batch.",
        "only 8 batches",
    ),
    "one batch a side": (
        "One batch a side cannot tell a better method from a luckier batch.",
        "With so few batches nothing backs that up.",
    ),
}


def page(name):
    cells = EDGES[name]
    by = "batch" if len(cells[0]) > 3 else "bag"
    records = lost_records(cells, aim=NO_WORSE, by=by)
    return " ".join(to_text(write_report(analyse(records), figures=False), width=400).split())


@pytest.mark.parametrize("name", EDGES)
def test_the_page_at_an_edge(name):
    told = page(name)
    for words in SAID[name]:
        assert words in told
    main = told.split("The numbers for a statistician")[0]
    assert not re.search(r"\bnan\b|\binf\b|None of 1 |All 1 |between 0 and", main)
    if "a side" not in name:
        assert "One batch a side" not in told
    if name == "one batch a side":
        # Nothing is tested, and nothing claimed.
        assert not re.search(r"fits these bags|in a hundred fits", main)

"""The plain text of each invented trial's page and of each story's main text, word for word.

A story's numbers for a statistician are left out: they have more digits than two machines share.
A new story that has no text here yet fails: write it, read it aloud, commit it. After a change that
is meant, write the snapshots anew, read the difference, and commit it:
``python -m tests.reports.test_snapshots``.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from reports.page import to_text
from tests.reports.stories import MADE_UP, SINGLE, invented_report, story_report

FOLDER = Path(__file__).parent / "snapshots"
NAMES = (*MADE_UP, *(f"story_{name}" for name in SINGLE))


def report_of(name):
    """The report, of a story without the numbers for a statistician."""
    if name in MADE_UP:
        return invented_report(name)
    whole = story_report(name.removeprefix("story_"))
    main = tuple(one for one in whole.sections if one.id != "statistician")
    return dataclasses.replace(whole, sections=main)


def text_of(name):
    """The page as text, without the line that names the versions of the day."""
    lines = to_text(report_of(name), width=100).splitlines()
    return "\n".join(line for line in lines if not line.startswith("- Made with pinset")) + "\n"


@pytest.mark.parametrize("name", NAMES)
def test_the_text_is_as_it_was_read(name):
    assert text_of(name) == (FOLDER / f"{name}.txt").read_text(encoding="utf-8")


if __name__ == "__main__":
    for name in NAMES:
        (FOLDER / f"{name}.txt").write_text(text_of(name), encoding="utf-8")

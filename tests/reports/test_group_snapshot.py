"""The plain text of the invented group's page, word for word.

After a change that is meant, write the snapshot anew, read the difference, and commit it:
``python -m tests.reports.test_group_snapshot``.
"""

from __future__ import annotations

from pathlib import Path

from reports.page import to_text
from tests.reports.stories import story_report

SNAPSHOT = Path(__file__).parent / "snapshots" / "group.txt"


def text():
    return to_text(story_report("group"), width=100)


def test_the_text_is_as_it_was_read():
    assert text() == SNAPSHOT.read_text(encoding="utf-8")


if __name__ == "__main__":
    SNAPSHOT.write_text(text(), encoding="utf-8")

"""The plain text of each invented trial's page, word for word.

After a change that is meant, write the snapshots anew, read the difference, and commit it:
``python -m tests.reports.test_snapshots``.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from reports.page import to_text
from reports.report import write_report
from tests.reports.invented import four_mixes, one_batch_a_side, shortcut, two_mixes

FOLDER = Path(__file__).parent / "snapshots"
TRIALS = {
    "two_mixes": two_mixes, "four_mixes": four_mixes, "one_batch_a_side": one_batch_a_side,
    "shortcut": shortcut,
}  # fmt: skip


def text_of(name):
    """The page as text, without the line that names the versions of the day."""
    lines = to_text(write_report(TRIALS[name]()), width=100).splitlines()
    return "\n".join(line for line in lines if not line.startswith("- Made with pinset")) + "\n"


@pytest.mark.parametrize("name", TRIALS)
def test_the_text_is_as_it_was_read(name):
    assert text_of(name) == (FOLDER / f"{name}.txt").read_text(encoding="utf-8")


if __name__ == "__main__":
    for name in TRIALS:
        (FOLDER / f"{name}.txt").write_text(text_of(name), encoding="utf-8")

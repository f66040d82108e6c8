"""Pages of 500 simulated trials read back and held against their analysis: no contradiction.

Run: python -m pytest -m slow tests/calibration/test_sentences.py
Each trial goes the whole way: plan, draw, files as a grower keeps them, reading, analysis, page.
What was found stands in RESULTS.md beside this file.
"""

from __future__ import annotations

import pytest

from reports.page import to_text
from reports.report import write_report
from tests.analyses.few_layouts import few_layouts
from tests.reports.page_sentences import WIDE, page_contradictions
from tests.reports.simulated import simulated_trial

TRIALS, PARTS, SEED, WITH_PICTURES = 500, 20, 20311, 25


def beyond_belief(analysis):
    """Give the ids of findings whose range is a thousand times what is compared, or has no end."""
    found = []
    for one in analysis.findings:
        estimate = one.estimate
        if not estimate.withheld:
            size = max(1.0, *(abs(mean.value) for mean in one.means))
            if not max(abs(estimate.low), abs(estimate.high)) < 1_000 * size:
                found.append(one.id)
    return found


@pytest.mark.slow
@pytest.mark.parametrize("part", range(PARTS))
def test_no_page_contradicts_its_analysis(part, tmp_path, monkeypatch):
    few_layouts(monkeypatch)
    wrong = {}
    for number in range(part, TRIALS, PARTS):
        analysis = simulated_trial(tmp_path / str(number), number, seed=SEED)
        assert beyond_belief(analysis) == []
        report = write_report(analysis, figures=number % WITH_PICTURES == part % WITH_PICTURES)
        wrong[number] = page_contradictions(to_text(report, width=WIDE), analysis)
    assert len(wrong) == TRIALS // PARTS
    assert {number: found for number, found in wrong.items() if found} == {}

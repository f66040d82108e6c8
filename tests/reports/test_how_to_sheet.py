"""The how-to of an invited grower: one page on A4 and on Letter, whatever was typed; accessible."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from reports.sheets.how_to_sheet import how_to_sheet
from tests.reports.chromium import NEEDS_CHROMIUM, chromium
from tests.trials.groups import the_plan
from trials.designs import draw
from trials.group.group_file import Member
from trials.trial import Treatment

axe_api = pytest.importorskip("axe_playwright_python.sync_playwright", reason="no axe")

pytestmark = NEEDS_CHROMIUM


def plain():
    trial = the_plan()
    return how_to_sheet(trial, draw(trial), Member(letter="A", folder="grower-a"), growers=7)


def longest():
    trial, words = the_plan(), "<b>straw</b> & hulls 🍄 נסורת " * 12
    more = tuple(Treatment(code=f"X{n}", name=f"{n} {words}"[:300]) for n in range(9))
    trial = replace(
        trial, title=words[:300], question=(words * 4)[:1000], unit="growing bucket of thirty x",
        invented=True, treatments=(*trial.treatments, *more),
    )  # fmt: skip
    member = Member(letter="ALK", folder="grower-alk", name="W" * 60, show_name=True)
    return how_to_sheet(trial, draw(trial), member, growers=999)


@pytest.fixture(scope="module")
def browser():
    with chromium() as started:
        yield started


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("made", [plain, longest])
def test_it_is_one_page(browser, tmp_path, made, paper):
    (tmp_path / "page.html").write_text(made(), encoding="utf-8")
    page = browser.new_page()
    page.goto((tmp_path / "page.html").as_uri())
    pdf = page.pdf(format=paper)
    # ISO 32000-1, 7.7.3.3: a page object is a dictionary of type Page
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1


@pytest.mark.parametrize("made", [plain, longest])
def test_axe_finds_no_serious_fault(browser, tmp_path, made):
    (tmp_path / "page.html").write_text(made(), encoding="utf-8")
    context = browser.new_context(bypass_csp=True)
    page = context.new_page()
    page.goto((tmp_path / "page.html").as_uri())
    found = axe_api.Axe().run(page).response["violations"]
    assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []
    context.close()

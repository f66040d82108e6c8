"""The list of what a full report holds: true to the plan, told alike in every form."""

from __future__ import annotations

import dataclasses
import json
import re

import pytest

from reports.page import to_html, to_markdown
from reports.parts.checklist_items import checklist
from reports.report import write_report
from reports.results import results
from reports.wording.grammar import in_words
from tests.reports.invented import four_mixes, one_batch_a_side, plan, shortcut, two_mixes
from tests.reports.stories import story

TRIALS = (two_mixes, four_mixes, one_batch_a_side, shortcut)
# The numbers of the items of CONSORT 2010 (Schulz, Altman & Moher 2010, BMJ 340, c332, table 1;
# from memory), 1a and 1b taken together.
NUMBERS = [
    "1",
    "2a",
    "2b",
    "3a",
    "3b",
    "4a",
    "4b",
    "5",
    "6a",
    "6b",
    "7a",
    "7b",
    "8a",
    "8b",
    "9",
    "10",
    "11a",
    "11b",
    "12a",
    "12b",
    "13a",
    "13b",
    "14a",
    "14b",
    "15",
    "16",
    "17a",
    "17b",
    "18",
    "19",
    "20",
    "21",
    "22",
    "23",
    "24",
    "25",
]


def by_number(analysis):
    return {one.number: one for one in checklist(analysis)}


def with_plan(analysis, **changes):
    trial = dataclasses.replace(analysis.records.trial, **changes)
    return dataclasses.replace(analysis, records=dataclasses.replace(analysis.records, trial=trial))


@pytest.fixture(scope="module", params=TRIALS, ids=lambda one: one.__name__)
def analysis(request):
    return request.param()


def test_every_item_of_the_published_list_is_there_in_its_order(analysis):
    numbers = [one.number for one in checklist(analysis)]
    assert [one for one in numbers if not one.startswith("C ")] == NUMBERS


def test_clusters_have_their_items_where_batches_count():
    assert any(one.number.startswith("C ") for one in checklist(one_batch_a_side()))
    assert not any(one.number.startswith("C ") for one in checklist(two_mixes()))


def test_what_is_missing_says_what_to_write_and_what_is_told_where(analysis):
    headings = {"The answer", "the plan, trial.toml"}
    headings |= {one.heading for one in write_report(analysis, figures=False).sections}
    for one in checklist(analysis):
        if one.state == "missing":
            assert one.next_time.endswith(".")
            assert one.where == ""
        elif one.state == "told":
            assert one.where in headings, one
            assert one.next_time == ""
        else:
            assert one.where


@pytest.mark.parametrize(
    ("number", "gone"),
    [("2a", {"question": ""}), ("4a", {"strain": ""}), ("4a", {"species": "  "}),
     ("4b", {"place": ""}), ("10", {"grower": ""}), ("14a", {"start": None})],
)  # fmt: skip
def test_what_the_plan_leaves_out_is_missing(number, gone):
    assert by_number(two_mixes())[number].state == "told"
    assert by_number(with_plan(two_mixes(), **gone))[number].state == "missing"


@pytest.mark.parametrize(
    ("number", "key"), [("7a", "why_this_size"), ("11b", "look_alike"), ("25", "paid_by")]
)
def test_what_the_plan_need_not_say_is_told_where_it_does(number, key):
    silent = by_number(two_mixes())[number]
    assert silent.state == "missing"
    assert f"{key} in the plan" in silent.next_time
    said = by_number(with_plan(two_mixes(), **{key: "nobody asked"}))
    assert (said[number].state, said[number].where) == ("told", "the plan, trial.toml")
    states = {one.number: one.state for one in checklist(two_mixes())}
    assert {one for one in said if said[one].state != states[one]} == {number}
    assert by_number(with_plan(two_mixes(), **{key: " \u202e "}))[number].state == "missing"


def test_the_page_repeats_what_stands_in_the_plan_only():
    page = to_markdown(write_report(two_mixes(), figures=False))
    assert "In the words of the plan" not in page
    words = {"why_this_size": "all that fitted", "look_alike": "quite", "paid_by": "a <b>mill</b>"}
    analysis = with_plan(two_mixes(), **words)
    html = to_html(write_report(analysis, figures=False))
    for line in ("Why so many, no more and no fewer (7a): “all that fitted”.",
                 "Whether the treatments look alike to whoever weighs (11b): “quite”.",
                 "(25): “a &lt;b&gt;mill&lt;/b&gt;”."):  # fmt: skip
        assert html.count(line) == 1
    # Where labels hide nothing, nobody asks whether they look alike.
    assert "look alike to whoever weighs (11b): “" not in to_html(
        write_report(with_plan(four_mixes(), **words), figures=False)
    )


def test_treatments_need_a_recipe_or_a_note():
    assert by_number(two_mixes())["5"].state == "missing"
    noted = tuple(dataclasses.replace(one, note="soaked overnight") for one in plan().treatments)
    assert by_number(with_plan(two_mixes(), treatments=noted))["5"].state == "told"


def test_a_plan_that_was_never_locked_shows_no_changes():
    loose = dataclasses.replace(two_mixes(), locked="", fingerprint="")
    for number in ("3b", "6b", "9", "23"):
        assert by_number(two_mixes())[number].state == "told"
        assert by_number(loose)[number].state == "missing"


def test_losses_without_a_word_are_counted():
    analysis = two_mixes()
    assert by_number(analysis)["13b"].state == "told"
    lost = analysis.bags.index[analysis.bags["fate"] == "contaminated"]
    analysis.bags.loc[lost[0], ["seen", "note"]] = ""
    missing = by_number(analysis)["13b"]
    assert missing.state == "missing"
    assert "1 of 3" in missing.next_time
    assert by_number(shortcut())["13b"].state == "not needed"


def test_a_ratio_is_told_only_where_there_is_one():
    assert by_number(two_mixes())["17b"].state == "not needed"
    assert by_number(shortcut())["17b"].state == "missing"
    steaming = story("shortcut")
    assert any(one.companions for one in steaming.findings)
    assert by_number(steaming)["17b"].state == "told"


def test_looks_alike_is_asked_only_where_labels_hide():
    assert by_number(two_mixes())["11b"].state == "missing"
    assert by_number(four_mixes())["11b"].state == "not needed"
    open_labels = with_plan(four_mixes(), look_alike="no")
    assert by_number(open_labels)["11b"].state == "not needed"


def test_no_range_is_no_range():
    assert by_number(two_mixes())["17a"].state == "told"
    assert by_number(one_batch_a_side())["17a"].state == "missing"


def test_the_summary_counts_what_the_table_shows(analysis):
    html = to_html(write_report(analysis, figures=False))
    told, asked, missing = re.search(
        r"What a full report holds: (\d+) of (\d+) items told, (\w+) missing", html
    ).groups()
    states = [one.state for one in checklist(analysis)]
    assert int(told) == states.count("told")
    assert int(asked) == len(states) - states.count("not needed")
    assert missing == in_words(states.count("missing"))


def test_every_form_tells_it(analysis):
    markdown = to_markdown(write_report(analysis, figures=False))
    plain = json.loads(json.dumps(results(analysis)))["checklist"]
    assert len(plain) == len(checklist(analysis))
    for one, row in zip(checklist(analysis), plain, strict=True):
        assert one.asked in markdown
        assert row == {name: getattr(one, name) for name in row}
        assert set(row) == {"number", "asked", "state", "where", "next_time"}


def test_the_source_is_cited(analysis):
    html = to_html(write_report(analysis, figures=False))
    assert "Schulz, Altman &amp; Moher 2010" in html
    assert ("Campbell" in html) == (analysis.unit.counted == "batch")

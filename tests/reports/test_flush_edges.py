"""Flushes and days at the edges, from records to the words on the page."""

from __future__ import annotations

import re

import numpy as np
import pytest

from analyses.questions import analyse
from reports.plain_text import to_text
from reports.report import write_report
from tests.analyses.made import records_of
from tests.analyses.test_timing import timed
from tests.trials.folders import make_folder, write_bags
from trials.measures import grams as to_grams
from trials.records import read
from trials.trial_file import check_trial

AIM = 'outcome = "flush drop"\nclaim = "better"\nworthwhile = "5 in 100"'


def weights(bags, flushes, kept=0.5, seed=11):
    rng = np.random.default_rng(seed)
    return 300 * kept ** np.arange(flushes) * np.exp(rng.normal(0, 0.15, (bags, flushes)))


def main_text(records):
    """Give the page up to the statistician's part, without line breaks."""
    told = " ".join(to_text(write_report(analyse(records), figures=False), width=400).split())
    main = told.split("The numbers for a statistician")[0]
    assert not re.search(r"\bnan\b|\binf\b", main)
    return main


def one_flush():
    return records_of(["a", "b"] * 4, weights(8, 1), aim=AIM)


def nothing_in_the_second():
    grams = weights(8, 2)
    grams[:, 1] = 0.0
    return records_of(["a", "b"] * 4, grams, aim=AIM)


def one_bag_each():
    return records_of(["a", "b"], weights(2, 4), aim=AIM)


def looked_at(days):
    rng = np.random.default_rng(4)
    true = np.repeat([18.0, 23.0], 14) + rng.normal(0, 4.0, 28)
    return timed(["a"] * 14 + ["b"] * 14, days * np.ceil(true / days), looks=days)


EDGES = {
    "one flush only": (
        one_flush, ("This trial cannot compare mix b with mix a", "fewer than two flushes came"),
    ),
    "an empty second flush": (
        nothing_in_the_second,
        ("fewer than two flushes came", "Nothing there", "What became of the bags at each flush"),
    ),
    "one bag a treatment": (
        one_bag_each, ("nothing shows how much they differ", "This trial cannot compare"),
    ),
    "looks every day": (
        lambda: looked_at(1), ("looked at every day, so a day is known to the day",),
    ),
    "looks every week": (
        lambda: looked_at(7), ("looked at every 7 days, so a day is known to within 7 days",),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", EDGES)
def test_the_page_at_an_edge(name):
    make, words = EDGES[name]
    told = main_text(make())
    for one in words:
        assert one in told
    if "cannot compare" in words[0]:
        assert "kept more from one flush to the next" not in told


def folder_of(folder, headings, convert):
    """Write a trial of two flushes with weights under these headings."""
    trial = check_trial(
        'format = 1\n[trial]\ntitle = "made"\nflushes = 2\nblind = true\n'
        '[[treatments]]\ncode = "A"\nname = "bran"\ncontrol = true\n'
        '[[treatments]]\ncode = "B"\nname = "hulls"\n'
        '[design]\nlayout = "completely random"\nunits_per_treatment = 6\nseed = 3\n'
        f"[aim]\n{AIM}\n"
    )
    layout = make_folder(folder, trial)
    known = weights(12, 2, kept=0.6)

    def row(number, slot):
        first, second = (
            convert(one, place) for place, one in enumerate(np.round(known[number], 1))
        )
        return [slot.code, first, second, "finished"]

    write_bags(folder, layout, ["code", *headings, "fate"], row)
    return read(folder)


def test_weights_in_mixed_units_say_the_same(tmp_path):
    """Ounces in one column, grams in the other, pounds in single cells: 1 oz = 28.349523125 g and
    1 lb = 453.59237 g (NIST Handbook 44, appendix C)."""

    def mixed(one, place):
        if place == 0:
            return f"{one / 28.349523125:.10f}"
        return f"{one / 453.59237:.12f} lb" if one > 180 else f"{one:.1f}"

    plain = folder_of(tmp_path / "plain", ["flush_1_g", "flush_2_g"], lambda one, _: f"{one:.1f}")
    other = folder_of(tmp_path / "mixed", ["flush_1 [oz]", "flush_2_g"], mixed)
    assert other.flushes["grams"].to_numpy() == pytest.approx(plain.flushes["grams"].to_numpy())
    assert to_grams(1.0, "oz") == pytest.approx(28.349523125)
    assert main_text(other) == main_text(plain)
    assert "from one flush to the next" in main_text(plain)

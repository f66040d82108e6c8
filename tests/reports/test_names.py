"""The grower's words: whatever is written, a page can print it."""

from __future__ import annotations

import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from reports.wording.names import printable, shorten, treatment_names
from tests.reports.invented import plan
from trials.trial import Treatment


@given(st.text(max_size=400))
def test_nothing_that_controls_is_left(text):
    kept = printable(text).strip("\u2068\u2069")
    kinds = {unicodedata.category(sign) for sign in kept if sign != "\u200d"}
    assert not kinds & {"Cc", "Cf", "Cs", "Zl", "Zp"}
    assert "  " not in kept


@given(st.text(max_size=400), st.integers(5, 60))
def test_nothing_is_longer_than_asked(text, longest):
    assert len(shorten(printable(text), longest).strip("\u2068\u2069")) <= longest


def test_right_to_left_words_are_isolated():
    said = printable("קש טרי")
    assert said.startswith("\u2068")
    assert said.endswith("\u2069")
    assert printable("straw") == "straw"


def test_cut_or_equal_names_carry_their_code():
    trial = plan(
        treatments=(
            Treatment(code="A", name="straw", control=True),
            Treatment(code="B", name="straw"),
            Treatment(code="C", name="x" * 300),
            Treatment(code="D", name="\x00"),
        )
    )
    names = treatment_names(trial)
    assert names["A"] == "straw (A)"
    assert names["B"] == "straw (B)"
    assert names["C"].endswith("… (C)")
    assert names["D"] == "D"
    assert len(set(names.values())) == 4

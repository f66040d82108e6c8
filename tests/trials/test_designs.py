"""Layouts: balanced as planned, the same for a seed, every placement equally likely."""

from __future__ import annotations

from collections import Counter
from math import factorial

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chisquare

from tests.trials.plans import plan
from trials.bag_codes import is_sound
from trials.designs import draw
from trials.designs.shuffle import Lot


@settings(max_examples=60, deadline=None)
@given(
    treatments=st.integers(2, 6),
    blocks=st.integers(2, 8),
    units=st.integers(1, 4),
    seed=st.integers(0, 2**63 - 1),
    layout=st.sampled_from(["complete blocks", "completely random"]),
)
def test_every_treatment_as_often_as_planned(
    treatments: int, blocks: int, units: int, seed: int, layout: str
) -> None:
    trial = plan(treatments=treatments, blocks=blocks, units=units, layout=layout, seed=seed)
    drawn = draw(trial)
    assert len(drawn.slots) == trial.units
    assert len(set(drawn.codes)) == trial.units
    assert all(is_sound(code) for code in drawn.codes)
    counts = Counter((slot.block, slot.treatment) for slot in drawn.slots)
    assert set(counts.values()) == {units}
    assert len(counts) == treatments * (blocks if layout == "complete blocks" else 1)
    for block in drawn.blocks:
        places = [slot.position for slot in drawn.slots if slot.block == block]
        assert places == list(range(1, len(places) + 1))


@given(seed=st.integers(0, 2**63 - 1))
def test_same_seed_same_layout(seed: int) -> None:
    assert draw(plan(), seed) == draw(plan(), seed)
    assert draw(plan(seed=seed)).to_csv() == draw(plan(), seed).to_csv()


def test_the_seed_draws_this_layout_on_every_machine() -> None:
    """Computed once; it changes only if layouts stop being reproducible."""
    drawn = draw(plan(treatments=3, blocks=3, seed=20_260_302))
    assert "".join(slot.treatment[1] for slot in drawn.slots) == "132213213"
    assert drawn.codes[:2] == ("K3P", "K4N")


DRAWS = pytest.mark.parametrize(
    "draws",
    [
        6_000,
        pytest.param(20_000, marks=pytest.mark.slow),
    ],
)
"""How many layouts are drawn, seed 1 and up."""


@DRAWS
def test_every_order_in_a_block_is_equally_likely(draws: int) -> None:
    """Chi-square over the 6 orders of two pairs in a block, and over those of two blocks."""
    trial = plan(units=2, blocks=2)
    first, joint = Counter(), Counter()
    for seed in range(1, draws + 1):
        drawn = draw(trial, seed)
        orders = [
            "".join(s.treatment[1] for s in drawn.slots if s.block == b) for b in drawn.blocks
        ]
        first[orders[0]] += 1
        joint[tuple(orders)] += 1
    assert len(first) == 6
    assert len(joint) == 36
    assert chisquare(list(first.values())).pvalue > 0.001
    assert chisquare(list(joint.values())).pvalue > 0.001


@DRAWS
def test_every_placement_of_a_random_layout_is_equally_likely(draws: int) -> None:
    """Chi-square over the 20 ways to place 3 of 6."""
    trial = plan(layout="completely random", units=3)
    seen = Counter(
        "".join(slot.treatment[1] for slot in draw(trial, seed).slots)
        for seed in range(1, draws + 1)
    )
    assert len(seen) == factorial(6) // factorial(3) ** 2
    assert chisquare(list(seen.values())).pvalue > 0.001


def test_lots_are_even() -> None:
    """30,000 lots of 7, seed 3."""
    lot = Lot(3)
    seen = Counter(lot.below(7) for _ in range(30_000))
    assert sorted(seen) == list(range(7))
    assert chisquare(list(seen.values())).pvalue > 0.001


def test_batches_are_drawn_whole_and_their_bags_stand_mixed() -> None:
    trial = plan(layout="completely random", units=3, batch=4)
    drawn = draw(trial)
    assert drawn.randomisation == "batches over all places"
    assert len(drawn.slots) == trial.units == 24
    treatments = {slot.batch: slot.treatment for slot in drawn.slots}
    assert Counter(treatments.values()) == {"T1": 3, "T2": 3}
    assert all(slot.treatment == treatments[slot.batch] for slot in drawn.slots)
    assert Counter(slot.batch for slot in drawn.slots) == dict.fromkeys(treatments, 4)
    assert [slot.position for slot in drawn.slots] == list(range(1, 25))
    assert [slot.batch for slot in drawn.slots] != sorted(slot.batch for slot in drawn.slots)


def test_two_seeds_do_not_share_their_codes() -> None:
    starts = {draw(plan(), seed).codes[0] for seed in range(30)}
    assert len(starts) > 15

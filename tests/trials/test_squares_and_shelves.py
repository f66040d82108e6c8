"""Squares, tables, split plots and incomplete blocks: as planned, reachable, equally likely."""

from __future__ import annotations

from collections import Counter
from itertools import product

import numpy as np
import pytest
from scipy.stats import chisquare

from trials.designs import draw
from trials.designs.block_search import search_blocks
from trials.designs.efficiency import efficiency, incidence
from trials.designs.shuffle import Lot
from trials.designs.squares import draw_square, reduced_squares
from trials.layout_file import read_layout
from trials.problems import Problems
from trials.trial import Trial
from trials.trial_file import check_trial
from trials.trial_text import to_toml


def laid(design: str, treatments: int = 4, *, factors: tuple[int, int] | None = None) -> Trial:
    levels = list(product(*map(range, factors))) if factors else [None] * treatments
    tables = "".join(
        f'[[treatments]]\ncode = "T{number}"\nname = "mix {number}"\n'
        + ("control = true\n" if number == 1 else "")
        + (f'factors = {{ heat = "h{pair[0]}", mix = "m{pair[1]}" }}\n' if pair else "")
        for number, pair in enumerate(levels, start=1)
    )
    return check_trial(
        f'format = 1\n[trial]\ntitle = "A test"\nflushes = 2\n{tables}[design]\n{design}\n'
        'seed = 7\n[aim]\noutcome = "yield"\n'
    )


SQUARE = 'layout = "latin square"\nrow = "shelf"\ncolumn = "day"'
TABLE = 'layout = "rows and columns"\nrow = "shelf"\nrows = {}\ncolumn = "day"\n'
SPLIT = 'layout = "split plot"\nblock = "week"\nblocks = 4\nunits_per_treatment = {}\n'
SPLIT += 'batch_factor = "heat"\n'
SHELVES = 'layout = "incomplete blocks"\nblock = "shelf"\nblocks = {}\nplaces = {}\n'


@pytest.mark.parametrize(("order", "known"), [(2, 2), (3, 12), (4, 576)])
def test_every_latin_square_is_equally_likely(order: int, known: int) -> None:
    """12 squares of order 3 and 576 of order 4 (OEIS A002860); 50 draws of each, seed 5."""
    lot = Lot(5)
    seen = Counter(draw_square(order, lot) for _ in range(50 * known))
    assert len(seen) == known
    assert chisquare(list(seen.values())).pvalue > 0.001


def test_there_are_as_many_reduced_squares_as_known() -> None:
    """Reduced Latin squares of order 1 to 5: 1, 1, 1, 4, 56 (OEIS A000315)."""
    assert [len(reduced_squares(order)) for order in range(1, 6)] == [1, 1, 1, 4, 56]


@pytest.mark.parametrize("order", [5, 6, 7, 9])
def test_larger_squares_are_squares_and_differ(order: int) -> None:
    seen = {draw_square(order, Lot(seed)) for seed in range(20)}
    assert len(seen) == 20
    for square in seen:
        assert all(sorted(line) == list(range(order)) for line in (*square, *zip(*square)))  # noqa: B905


def test_the_walk_reaches_more_than_shuffled_cyclic_squares() -> None:
    """A cyclic square of order 6 has intercalates in a fixed number, whatever is shuffled."""

    def intercalates(square: tuple[tuple[int, ...], ...]) -> int:
        size = range(len(square))
        return sum(
            square[a][c] == square[b][d] and square[a][d] == square[b][c]
            for a in size for b in size if a < b for c in size for d in size if c < d
        )  # fmt: skip

    assert len({intercalates(draw_square(6, Lot(seed))) for seed in range(30)}) > 3


@pytest.mark.parametrize("order", [3, 4, 5, 7])
def test_a_latin_square_holds_each_treatment_once_in_each_line(order: int) -> None:
    layout = draw(laid(SQUARE, order))
    for line in ("row", "column"):
        counts = Counter((getattr(slot, line), slot.treatment) for slot in layout.slots)
        assert set(counts.values()) == {1}
        assert len(counts) == order**2


@pytest.mark.parametrize(("rows", "units"), [(4, 1), (6, 1), (8, 1), (3, 2), (8, 2)])
def test_rows_are_complete_and_columns_as_even_as_can_be(rows: int, units: int) -> None:
    trial = laid(TABLE.format(rows) + f"units_per_treatment = {units}")
    layout = draw(trial)
    assert len(layout.slots) == trial.units == rows * 4 * units
    by_row = Counter((slot.row, slot.treatment) for slot in layout.slots)
    assert set(by_row.values()) == {units}
    columns = {slot.column for slot in layout.slots}
    by_column = Counter((slot.column, slot.treatment) for slot in layout.slots)
    counts = [by_column[(column, f"T{n}")] for column in columns for n in range(1, 5)]
    assert max(counts) - min(counts) == (0 if rows % 4 == 0 else 1)


@pytest.mark.parametrize("units", [1, 3])
def test_a_split_plot_gives_one_factor_to_batches(units: int) -> None:
    trial = laid(SPLIT.format(units), factors=(2, 3))
    layout = draw(trial)
    assert len(layout.slots) == trial.units == 4 * 6 * units
    levels = {one.code: one.level("heat") for one in trial.treatments}
    for block in layout.blocks:
        slots = [slot for slot in layout.slots if slot.block == block]
        assert set(Counter(slot.treatment for slot in slots).values()) == {units}
        heats = {slot.batch: {levels[s.treatment] for s in slots if s.batch == slot.batch}
                 for slot in slots}  # fmt: skip
        assert sorted(next(iter(one)) for one in heats.values()) == ["h0", "h1"]
        assert all(len(one) == 1 for one in heats.values())


BALANCED = [
    (4, 6, 2), (4, 4, 3), (5, 10, 2), (5, 10, 3), (6, 10, 3), (6, 15, 4), (7, 7, 3), (7, 7, 4),
    (8, 14, 4), (9, 12, 3), (9, 18, 4), (10, 15, 4), (10, 18, 5), (10, 30, 3), (11, 11, 5),
    (13, 13, 4), (15, 15, 7), (16, 20, 4), (21, 21, 5), (31, 31, 6),
]  # fmt: skip
"""Treatments, blocks, places: balanced designs of Cochran & Cox (1957), table 11.3."""


@pytest.mark.parametrize(("treatments", "blocks", "size"), BALANCED)
def test_balanced_blocks_are_found(treatments: int, blocks: int, size: int) -> None:
    """Efficiency t (k - 1) / (k (t - 1)) (Yates 1936), every pair meets equally often."""
    trial = laid(SHELVES.format(blocks, size), treatments)
    counts = incidence(trial, draw(trial))
    together = counts @ counts.T
    apart = together[~np.eye(treatments, dtype=bool)]
    assert set(apart) == {blocks * size * (size - 1) / (treatments * (treatments - 1))}
    found = efficiency(counts)
    assert found.balanced
    assert found.factor == pytest.approx(treatments * (size - 1) / (size * (treatments - 1)))
    assert found.bound == pytest.approx(found.factor)


@pytest.mark.parametrize(("treatments", "blocks", "size"), [(26, 12, 13), (40, 60, 6)])
def test_large_layouts_come_near_their_bound(treatments: int, blocks: int, size: int) -> None:
    """No balance is possible; the bound of `efficiency` is never exceeded and nearly reached."""
    counts = search_blocks([size] * blocks, [blocks * size // treatments] * treatments, Lot(3))
    assert (counts.sum(axis=0) == size).all()
    assert (counts.sum(axis=1) == blocks * size // treatments).all()
    found = efficiency(counts)
    assert 0.98 * found.bound < found.factor <= found.bound + 1e-9


@pytest.mark.parametrize(
    ("places", "blocks", "extra"), [("3", 8, 0), ("[4, 4, 3, 5]", 4, 0), ("[4, 4, 5]", 3, 1)]
)
def test_unequal_shelves_are_filled(places: str, blocks: int, extra: int) -> None:
    design = SHELVES.format(blocks, places) + f"extra_control_units = {extra}"
    trial = laid(design, 6 if places == "3" else 4)
    layout = draw(trial)
    sizes = Counter(slot.block for slot in layout.slots)
    assert tuple(sizes.values()) == trial.design.places
    each = Counter(slot.treatment for slot in layout.slots)
    assert each["T1"] == trial.design.units_per_treatment + extra
    assert len({count for code, count in each.items() if code != "T1"}) == 1
    found = efficiency(incidence(trial, layout))
    assert 0.7 < found.factor <= found.bound + 1e-9


def test_a_control_may_have_more_units() -> None:
    design = 'layout = "complete blocks"\nblock = "shelf"\nblocks = 3\nunits_per_treatment = 1\n'
    trial = laid(design + 'extra_control_units = 1\ngrowers = ["Ana", "Bo"]')
    layout = draw(trial)
    assert len(layout.slots) == trial.units == 6 * 5
    assert layout.blocks[3] == "Bo, shelf 1"
    counts = Counter((slot.block, slot.treatment) for slot in layout.slots)
    assert {counts[(block, "T1")] for block in layout.blocks} == {2}
    assert {counts[(block, "T3")] for block in layout.blocks} == {1}


EVERY = {
    "square": (SQUARE, None),
    "table": (TABLE.format(6), None),
    "split": (SPLIT.format(2) + "batch_holds = 4", (2, 2)),
    "shelves": (SHELVES.format(6, "[2, 2, 4, 4, 2, 2]"), None),
}


@pytest.mark.parametrize("name", EVERY)
def test_plan_and_layout_go_round(name: str, tmp_path) -> None:
    design, factors = EVERY[name]
    trial = laid(design, factors=factors)
    assert check_trial(to_toml(trial)) == trial
    layout = draw(trial)
    assert draw(trial) == layout
    assert draw(trial, 8) != layout
    (tmp_path / "layout.csv").write_text(layout.to_csv())
    assert read_layout(tmp_path, trial) == layout
    heading = layout.to_csv().splitlines()[0]
    assert heading.startswith("code,treatment,block,batch,position")
    assert heading.endswith(",row,column") == (name in ("square", "table"))


@pytest.mark.parametrize(
    ("design", "treatments", "factors", "key", "said"),
    [
        (SQUARE, 2, None, "design.layout", "rows and columns"),
        (SQUARE + "\nblocks = 3", 4, None, "design.blocks", "Take the line out"),
        (SQUARE.replace('column = "day"', ""), 4, None, "design.column", "missing"),
        (SPLIT.format(1), 4, None, "design.layout", "every combination"),
        (SPLIT.format(1).replace('"heat"', '"heet"'), 4, (2, 2), "design.batch_factor", "“heat”"),
        (SPLIT.format(3) + "batch_holds = 5", 4, (2, 2), "design.batch_holds", "6 bags"),
        (SHELVES.format(3, "[4, 4, 3]"), 4, None, "design.places", "extra_control_units = 3"),
        (SHELVES.format(3, "[4, 4]"), 4, None, "design.places", "2 numbers for 3 blocks"),
        (SHELVES.format(3, '"4"'), 4, None, "design.places", "whole numbers"),
    ],
)
def test_a_layout_that_does_not_fit_is_told(
    design: str, treatments: int, factors: tuple[int, int] | None, key: str, said: str
) -> None:
    with pytest.raises(Problems) as caught:
        laid(design, treatments, factors=factors)
    told = {one.key: f"{one.what}. {one.mend}" for one in caught.value.problems}
    assert said in told[key]

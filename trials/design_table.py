"""The table ``[design]`` of a plan: which keys each layout has, and what fits together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trials.factors import is_crossed
from trials.plan_reader import PlanTable
from trials.problems import nearest, one_of
from trials.trial import LAYOUTS, LEVELS, Design, LayoutKind, Treatment

__all__ = ["LARGEST_SQUARE", "MOST_UNITS", "read_design"]

MOST_UNITS = 400_000
LARGEST_SQUARE = 20

_BLOCKED: tuple[LayoutKind, ...] = ("complete blocks", "split plot", "incomplete blocks")
_TABLED: tuple[LayoutKind, ...] = ("latin square", "rows and columns")
_LOOSE: tuple[LayoutKind, ...] = ("completely random", "complete blocks")

_BELONGS: dict[str, tuple[LayoutKind, ...]] = {
    "blocks": (*_BLOCKED, "completely random"),
    "row": _TABLED,
    "rows": ("rows and columns",),
    "column": _TABLED,
    "units_per_treatment": (*_LOOSE, "rows and columns", "split plot"),
    "bags_per_batch": _LOOSE,
    "batch_factor": ("split plot",),
    "places": ("complete blocks", "incomplete blocks"),
    "extra_control_units": (*_LOOSE, "incomplete blocks"),
    "growers": ("complete blocks", "split plot"),
}
"""The layouts that a key belongs to; keys that are not here belong to all."""


@dataclass(slots=True, kw_only=True)
class _Given:
    """The keys as they were read, before they are held against each other."""

    layout: LayoutKind
    block: str
    blocks: int
    units: int
    by_batch: bool
    bags: int | None
    seed: int
    column: str
    batch_factor: str
    places: tuple[int, ...]
    extra: int
    holds: int | None
    growers: tuple[str, ...]


def read_design(table: PlanTable, treatments: Sequence[Treatment]) -> Design | None:
    """Read the design; mistakes are gathered by the table.

    Parameters
    ----------
    table : PlanTable
        The table ``[design]``.
    treatments : sequence of Treatment
        Those of the plan that could be read.

    Returns
    -------
    Design or None
        None when something is missing or does not fit together.
    """
    given = _read(table)
    if given is None:
        return None
    fitting = _FIT[given.layout](table, given, treatments)
    if not fitting or not _fits_batches(table, given, treatments):
        return None
    return _small_enough(table, given, treatments)


def _read(table: PlanTable) -> _Given | None:
    layout = table.choice("layout", LAYOUTS, needed=True)
    shown: LayoutKind = layout or "complete blocks"
    strange = [key for key, kinds in _BELONGS.items() if shown not in kinds and table.has(key)]
    own = {key: shown in kinds for key, kinds in _BELONGS.items()}
    if shown in _TABLED:
        strange += [key for key in ("block",) if table.has(key)]
    blocked, tabled = shown in _BLOCKED, shown in _TABLED
    kept_alike = table.text("row" if tabled else "block", longest=30,
                            needed=blocked or tabled, example="shelf")  # fmt: skip
    counted = "rows" if tabled else "blocks"
    least = 1 if shown == "completely random" else 2
    blocks = table.whole(counted, low=least, high=1000, needed=own[counted] and least > 1)
    column = table.text("column", longest=30, needed=tabled, example="day")
    units = table.whole(
        "units_per_treatment", low=1, high=100_000,
        needed=own["units_per_treatment"] and shown != "rows and columns",
    )  # fmt: skip
    factor = table.text("batch_factor", longest=60, needed=shown == "split plot", example="heat")
    applied_to = table.choice("applied_to", LEVELS)
    by_batch = applied_to == "batch" and own["bags_per_batch"]
    bags = table.whole("bags_per_batch", low=1, high=10_000, needed=by_batch)
    places = table.wholes("places", low=2, high=10_000)
    extra = table.whole("extra_control_units", low=0, high=10_000)
    holds = table.whole("batch_holds", low=1, high=100_000)
    growers = table.texts("growers")
    seed = table.whole("seed", low=0, high=2**63 - 1, needed=True)
    table.refuse_unknown()
    for key in strange:
        where = one_of(_BELONGS.get(key, _BLOCKED))
        table.wrong(
            key, f"the layout “{shown}” has none", f"Take the line out; it belongs to {where}."
        )
    lacking = (
        (own["units_per_treatment"] and shown != "rows and columns" and units is None)
        or ((blocked or tabled) and not kept_alike)
        or (own[counted] and least > 1 and blocks is None)
        or (by_batch and bags is None)
        or (tabled and not column)
        or (shown == "split plot" and not factor)
        or (shown == "incomplete blocks" and _missing_places(table, places))
    )
    if layout is None or seed is None or strange or lacking:
        return None
    if applied_to == "batch" and not by_batch:
        table.wrong("applied_to", f"the layout “{layout}” gives treatments to single bags",
                    'Take the line out; for whole batches choose "completely random" or '
                    '"complete blocks".')  # fmt: skip
        return None
    return _Given(
        layout=layout, block=(kept_alike or "") if blocked or tabled else "", blocks=blocks or 1,
        units=units or 1, by_batch=by_batch, bags=bags, seed=seed, column=column or "",
        batch_factor=factor or "", places=places or (), extra=extra or 0, holds=holds,
        growers=growers or (),
    )  # fmt: skip


def _missing_places(table: PlanTable, places: tuple[int, ...] | None) -> bool:
    if places is None and not table.has("places"):
        mend = "Write the places in each block: places = 3, or a list such as [4, 4, 3]."
        table.wrong("places", "is missing", mend)
    return places is None


def _fits_random(table: PlanTable, given: _Given, treatments: Sequence[Treatment]) -> bool:
    del treatments
    if given.blocks == 1:
        return True
    table.wrong(
        "blocks",
        f"a completely random layout has no blocks, and {given.blocks} are asked for",
        'Take the line out, or choose layout = "complete blocks".',
    )
    return False


def _fits_blocks(table: PlanTable, given: _Given, treatments: Sequence[Treatment]) -> bool:
    if not given.places:
        return True
    if not _one_each(table, given):
        return False
    needed = (len(treatments) * given.units + given.extra) * (given.bags or 1)
    short = [number for number, room in enumerate(given.places, start=1) if room < needed]
    if not short:
        return True
    where = f"{given.block} {short[0]}"
    table.wrong(
        "places",
        f"{where} has {given.places[short[0] - 1]} places, and a complete block needs {needed}",
        'Use fewer units, or choose layout = "incomplete blocks".',
    )
    return False


def _one_each(table: PlanTable, given: _Given) -> bool:
    """Write one number of places a block, however they were given."""
    blocks = given.blocks * max(1, len(given.growers))
    if len(given.places) == 1:
        given.places = given.places * blocks
    if len(given.places) == blocks:
        return True
    what = f"there are {len(given.places)} numbers for {blocks} blocks"
    table.wrong("places", what, "Give one number for all blocks, or one for each.")
    return False


def _fits_square(table: PlanTable, given: _Given, treatments: Sequence[Treatment]) -> bool:
    given.blocks = len(treatments)
    if 3 <= given.blocks <= LARGEST_SQUARE:
        return True
    if given.blocks == 2:
        what = "a square of 2 treatments leaves nothing to judge by"
        mend = 'Choose layout = "rows and columns" with more rows, or "complete blocks".'
    else:
        what = f"a square of {given.blocks} treatments is not drawn"
        mend = f'Choose "incomplete blocks", or from 3 to {LARGEST_SQUARE} treatments.'
    table.wrong("layout", what, mend)
    return False


def _fits_table(table: PlanTable, given: _Given, treatments: Sequence[Treatment]) -> bool:
    del given
    if len(treatments) <= LARGEST_SQUARE:
        return True
    what = f"rows and columns of {len(treatments)} treatments are not drawn"
    table.wrong("layout", what, f"Use {LARGEST_SQUARE} treatments or fewer.")
    return False


def _fits_split(table: PlanTable, given: _Given, treatments: Sequence[Treatment]) -> bool:
    names = [name for name, _ in treatments[0].factors] if treatments else []
    if not is_crossed(treatments):
        table.wrong(
            "layout",
            "a split plot needs treatments that are every combination of two factors or more",
            'Write factors = { heat = "short", mix = "bran" } in each treatment, one treatment for '
            "each combination.",
        )
        return False
    if given.batch_factor in names:
        return True
    meant = nearest(given.batch_factor, names)
    hint = f"Did you mean “{meant}”? " if meant else ""
    table.wrong("batch_factor", f"“{given.batch_factor}” is no factor of the treatments",
                f"{hint}Allowed: {one_of(names)}.")  # fmt: skip
    return False


def _fits_incomplete(table: PlanTable, given: _Given, treatments: Sequence[Treatment]) -> bool:
    if len(treatments) < 2 or not _one_each(table, given):
        return False
    total, count = sum(given.places), len(treatments)
    given.units, left = divmod(total - given.extra, count)
    if left == 0 and given.units > 0:
        return True
    told = f"the {total} places" + (f" less {given.extra} for the control" if given.extra else "")
    table.wrong(
        "places",
        f"{told} cannot be shared out evenly among {count} treatments",
        f"Use {count * max(1, given.units)} or {count * (given.units + 1)} places in all, or give "
        f"those left over to the control: extra_control_units = {(total % count) or count}.",
    )
    return False


_FIT = {
    "completely random": _fits_random,
    "complete blocks": _fits_blocks,
    "latin square": _fits_square,
    "rows and columns": _fits_table,
    "split plot": _fits_split,
    "incomplete blocks": _fits_incomplete,
}


def _fits_batches(table: PlanTable, given: _Given, treatments: Sequence[Treatment]) -> bool:
    """Hold the bags of one batch against what can be heat-treated at once."""
    if given.bags is not None and not given.by_batch:
        table.wrong(
            "bags_per_batch",
            "it is given, but the treatment is not applied to batches",
            'Write applied_to = "batch", or take the line out.',
        )
        return False
    in_batch = (given.bags or 0) if given.by_batch else 0
    if given.layout == "split plot":
        levels = {one.level(given.batch_factor) for one in treatments}
        in_batch = len(treatments) // len(levels) * given.units
    if given.holds is None or in_batch <= given.holds:
        return True
    table.wrong("batch_holds", f"a batch of this layout has {in_batch} bags, and {given.holds} fit",
                "Use smaller batches and more of them.")  # fmt: skip
    return False


def _small_enough(
    table: PlanTable, given: _Given, treatments: Sequence[Treatment]
) -> Design | None:
    blocks = 1 if given.layout == "incomplete blocks" else given.blocks
    each = len(treatments) * given.units + given.extra
    if each * blocks * (given.bags or 1) * max(1, len(given.growers)) > MOST_UNITS:
        table.wrong("units_per_treatment", f"that is more than {MOST_UNITS:,} units",
                    "Ask for fewer.")  # fmt: skip
        return None
    return Design(
        layout=given.layout, block=given.block, blocks=given.blocks,
        units_per_treatment=given.units, applied_to="batch" if given.by_batch else "bag",
        bags_per_batch=given.bags or 1, seed=given.seed, column=given.column,
        batch_factor=given.batch_factor, places=given.places, extra_control_units=given.extra,
        batch_holds=given.holds, growers=given.growers,
    )  # fmt: skip

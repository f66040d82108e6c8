"""Records made from a published table, so that the main path can be run on it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from tests.trials.folders import DRAWN
from trials.bag_codes import bag_codes
from trials.layout import Layout, Slot
from trials.lock import make_lock
from trials.records import Records
from trials.trial import Trial
from trials.trial_file import check_trial


def records_of(
    treatment: Sequence[str],
    grams: Sequence[float] | np.ndarray,
    *,
    block: Sequence[str] | None = None,
    batch: Sequence[str] | None = None,
    fate: Sequence[str] | None = None,
    control: str | None = None,
    aim: str = 'outcome = "yield"',
    dry: Sequence[float] | None = None,
    locked: bool = True,
) -> Records:
    """Make records of one flush from columns; 2-D grams are one column a flush."""
    weights = np.asarray(grams, float)
    weights = weights[:, np.newaxis] if weights.ndim == 1 else weights
    count, flushes = weights.shape
    names = list(dict.fromkeys(treatment))
    trial = _plan(names, control or names[0], flushes, aim, block, batch)
    blocks = list(block) if block is not None else [""] * count
    batches = list(batch) if batch is not None else [""] * count
    codes = bag_codes(count)
    slots = tuple(
        Slot(code=code, treatment=one, block=where, batch=which, position=place)
        for place, (code, one, where, which) in enumerate(
            zip(codes, treatment, blocks, batches, strict=True), start=1
        )
    )
    layout = Layout(
        slots=slots,
        seed=1,
        randomisation="units over all places" if block is None else "units within blocks",
    )
    bags = pd.DataFrame(
        {
            "code": codes, "treatment": list(treatment), "block": blocks, "batch": batches,
            "position": range(1, count + 1),
            "fate": list(fate) if fate is not None else ["finished"] * count,
            "dry_weight_g": np.nan if dry is None else list(dry),
        }
    )  # fmt: skip
    lock = make_lock(trial, layout, drawn=DRAWN, version="0") if locked else None
    return Records(
        trial=trial,
        layout=layout,
        bags=_weighed(bags, weights),
        flushes=_flushes(bags, weights),
        doubts=(),
        sources=("made",),
        lock=lock,
    )


def _weighed(bags: pd.DataFrame, weights: np.ndarray) -> pd.DataFrame:
    """Add what the bags gave, and the columns that nobody filled in."""
    bags = bags.assign(seen="", note="", missing_flushes=0)
    for name in ("spawned", "colonised", "opened", "first_pins", "lost_on"):
        bags[name] = pd.NaT
    bags["total_g"] = np.where(np.isnan(weights).all(1), 0.0, np.nansum(weights, axis=1))
    bags.loc[bags["fate"] == "not recorded", "total_g"] = np.nan
    return bags


def _flushes(bags: pd.DataFrame, weights: np.ndarray) -> pd.DataFrame:
    """Give a row for each flush of each bag."""
    count, flushes = weights.shape
    named = bags[["code", "treatment", "block", "batch"]]
    long = named.loc[named.index.repeat(flushes)].reset_index(drop=True)
    long["flush"] = np.tile(np.arange(1, flushes + 1), count)
    long["grams"] = weights.ravel()
    long["state"] = np.where(long["grams"].isna(), "after loss", "weighed")
    long["date"] = pd.NaT
    return long


def _plan(
    names: list[str],
    control: str,
    flushes: int,
    aim: str,
    block: Sequence[str] | None,
    batch: Sequence[str] | None,
) -> Trial:
    tables = "".join(
        f'[[treatments]]\ncode = "{name}"\nname = "mix {name}"\n'
        + ("control = true\n" if name == control else "")
        for name in names
    )
    layout = 'layout = "completely random"\n'
    if block is not None:
        layout = f'layout = "complete blocks"\nblock = "shelf"\nblocks = {len(set(block))}\n'
    batches = 'applied_to = "batch"\nbags_per_batch = 1\n' if batch is not None else ""
    return check_trial(
        f'format = 1\n[trial]\ntitle = "made"\nflushes = {flushes}\nblind = true\n{tables}'
        f"[design]\n{layout}units_per_treatment = 1\n{batches}seed = 1\n[aim]\n{aim}\n"
    )

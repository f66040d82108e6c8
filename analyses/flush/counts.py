"""What became of each unit at each flush, counted and as arrays.

Thrown out, not come, still to come and picking stopped for all are different things: a unit thrown
out gives nothing more; one that was looked at with nothing there gives nothing now; one that is not
that far yet says nothing; and where picking stopped for all, nobody looked.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analyses.flush.story import FlushCount
from analyses.models.flush.flush_parts import FlushWatch
from trials.records import Records

__all__ = ["came_rows", "flush_counts", "flush_watch", "picked_flushes"]


def picked_flushes(records: Records) -> int:
    """Give the last flush that anyone weighed; 0 where nothing was weighed.

    Parameters
    ----------
    records : Records
    """
    weighed = records.flushes.loc[records.flushes["state"] == "weighed", "flush"]
    return int(weighed.max()) if len(weighed) else 0


def flush_counts(records: Records) -> tuple[FlushCount, ...]:
    """Count what became of the units at each planned flush.

    Parameters
    ----------
    records : Records

    Returns
    -------
    tuple of FlushCount
        In the order of the plan.
    """
    flushes, counts = records.flushes, []
    for one in records.trial.treatments:
        for flush in range(1, records.trial.flushes + 1):
            mine = flushes[(flushes["treatment"] == one.code) & (flushes["flush"] == flush)]
            state, grams = mine["state"], mine["grams"]
            counts.append(
                FlushCount(
                    treatment=one.code,
                    flush=flush,
                    started=len(mine),
                    came=int((grams > 0).sum()),
                    nothing=int((grams == 0).sum()),
                    lost_before=int((state == "after loss").sum()),
                    unknown=int((state == "missing").sum()),
                    still_picking=int((state == "not yet").sum()),
                    stopped=int((state == "not picked").sum()),
                )
            )
    return tuple(counts)


def flush_watch(records: Records, codes: list[str], *, batches: bool = False) -> FlushWatch:
    """Give what was seen of each unit at each picked flush, as arrays.

    Parameters
    ----------
    records : Records
    codes : list of str
        The treatments wanted, in order.
    batches : bool
        Whether batches are what counts. Blocks are then left out where a batch lies in several, or
        each has one batch only.

    Returns
    -------
    FlushWatch
        A stage's fate is known of a unit that was weighed or stood in it or later, and of one that
        was thrown out in it.
    """
    last = picked_flushes(records)
    wide = records.flushes[
        records.flushes["treatment"].isin(codes) & (records.flushes["flush"] <= last)
    ]
    bags = records.bags.set_index("code").loc[list(dict.fromkeys(wide["code"]))]
    shape = (len(bags), last)
    grams = wide["grams"].to_numpy(float).reshape(shape)
    state = wide["state"].to_numpy(str).reshape(shape)
    lost = _first(state == "after loss")
    stood = np.isin(state, ("weighed", "missing"))
    # Nothing is known of a unit without any record beyond the last flush that was weighed.
    unrecorded = (bags["fate"] == "not recorded").to_numpy()[:, None]
    later = np.cumsum((state == "weighed")[:, ::-1], axis=1)[:, ::-1] > 0
    stood &= later | ~unrecorded
    logs = np.full(shape, np.nan)
    np.log(grams, out=logs, where=grams > 0)
    places = {code: place for place, code in enumerate(codes)}
    block = bags["block"].to_numpy(str)
    batch = bags["batch"].where(bags["batch"] != "", bags.index.to_series()).to_numpy(str)
    nested = bool((bags.groupby(batch)["block"].nunique() == 1).all())
    apart = not batches or (nested and len(np.unique(batch)) > len(np.unique(block)))
    return FlushWatch(
        treatment=np.array([places[one] for one in bags["treatment"]], np.intp),
        block=block if len(np.unique(block)) > 1 and apart else None,
        at_risk=stood | lost,
        lost=lost,
        looked=state == "weighed",
        log_grams=logs,
        batch=batch if batches else None,
    )


def _first(flags: np.ndarray) -> np.ndarray:
    """Keep the first flag of each row."""
    return np.asarray(flags & (np.cumsum(flags, axis=1) == 1))


def came_rows(records: Records) -> pd.DataFrame:
    """Give one row a flush that came: treatment, block, batch, bag, flush, k, grams."""
    flushes = records.flushes
    came = flushes[flushes["grams"] > 0]  # which are known of what was weighed only
    rows = came[["treatment", "block", "batch", "flush", "grams"]].copy()
    rows["bag"] = came["code"]
    rows["k"] = rows["flush"] - 1.0
    rows["flush"] = rows["flush"].map({one: str(one) for one in rows["flush"].unique()})
    return rows.reset_index(drop=True)

"""Copied folders: bags that would count twice, and growers who used one and the same draw."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from trials.records import Records

__all__ = ["begun", "copied_from", "same_draw_as"]


def begun(records: Records) -> bool:
    """Whether anything was written down at all.

    Parameters
    ----------
    records : Records
    """
    bags = records.bags
    days = bags[["spawned", "colonised", "opened", "first_pins", "lost_on"]]
    return bool(
        (bags["fate"] != "not recorded").any()
        or (records.flushes["state"] == "weighed").any()
        or days.notna().to_numpy().any()
    )


def copied_from(records: Mapping[str, Records]) -> dict[str, str]:
    """Find growers whose records say the same as those of an earlier one, bag by bag.

    Parameters
    ----------
    records : mapping of str to Records
        By grower, those that have begun.

    Returns
    -------
    dict of str to str
        The copy, and the grower whose records they are.
    """
    first: dict[int, str] = {}
    found = {}
    for key, one in records.items():
        earlier = first.setdefault(_said(one), key)
        if earlier != key:
            found[key] = earlier
    return found


def same_draw_as(records: Mapping[str, Records]) -> dict[str, str]:
    """Find growers who used the layout that an earlier one was drawn.

    Parameters
    ----------
    records : mapping of str to Records
        By grower.

    Returns
    -------
    dict of str to str
        The later grower and the earlier one. Seed and layout are the same; small layouts may be
        the same by chance, so that the layout alone says nothing.
    """
    first: dict[tuple[int, int], str] = {}
    found = {}
    for key, one in records.items():
        drawn = one.layout.seed, hash(one.layout.slots)
        earlier = first.setdefault(drawn, key)
        if earlier != key:
            found[key] = earlier
    return found


def _said(records: Records) -> int:
    """Give one number for all that was written down of the bags, whatever their order."""
    bags = records.bags.drop(columns=["seen", "note"]).sort_values("code", ignore_index=True)
    flushes = records.flushes.sort_values(["code", "flush"], ignore_index=True)
    parts = [
        pd.util.hash_pandas_object(frame, index=False).to_numpy().tobytes()
        for frame in (bags, flushes)
    ]
    return hash(tuple(parts))

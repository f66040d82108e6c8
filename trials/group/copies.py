"""Copied folders: bags that would count twice, and growers who used one and the same draw."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from trials.records import Records

__all__ = ["begun", "copied_from", "same_draw_as"]

_WORDS = ("code", "treatment", "block", "fate")
_DAYS = ["spawned", "colonised", "opened", "first_pins", "lost_on"]
_UNKNOWN_DAY = np.iinfo(np.int64).min
_FEWEST_VALUES = 4
"""With fewer different weights and days, two honest growers may have written the same: nothing was
lost and nothing was weighed. Common practice, no source."""


def begun(records: Records) -> bool:
    """Whether anything was written down at all.

    Parameters
    ----------
    records : Records
    """
    bags = records.bags
    return bool(
        (bags["fate"] != "not recorded").any()
        or (records.flushes["state"] == "weighed").any()
        or bags[_DAYS].notna().to_numpy().any()
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
    first: dict[object, str] = {}
    found = {}
    for key, one in records.items():
        said = _said(one)
        earlier = key if said is None else first.setdefault(said, key)
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


def _said(records: Records) -> object | None:
    """Give all that was written down, to be compared; None where it is too little to tell."""
    bags, grams = records.bags, records.flushes["grams"].to_numpy()
    days = bags[_DAYS].to_numpy().astype("int64")
    told = len(np.unique(grams[grams > 0])) + len(np.unique(days[days > _UNKNOWN_DAY]))
    if told < _FEWEST_VALUES:
        return None
    words = tuple(tuple(bags[name]) for name in _WORDS)
    return words, grams.tobytes(), days.tobytes()

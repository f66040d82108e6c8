"""Turn a column of labels into sorted levels and integer codes, fast and without surprises."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from analyses.models.linear.arrays import Codes, Column

__all__ = ["Grouping", "cross", "group", "missing"]

_SPAN = 4  # a table of codes may be this many times longer than the column
_LONG = 3000  # rows from which hashing by pandas beats a dictionary


@dataclass(frozen=True, slots=True, kw_only=True)
class Grouping:
    """A column as levels and codes.

    Attributes
    ----------
    name : str
        The column, or several joined by ":".
    count : int
        Number of levels that occur.
    codes : array of int, shape (n,)
        Position in `levels` of each row.
    make_levels : callable
        Gives the labels; called when they are asked for, since a million rows have many.
    """

    name: str
    count: int
    codes: Codes
    make_levels: Callable[[], tuple[Any, ...]]

    @property
    def levels(self) -> tuple[Any, ...]:
        """The levels that occur, sorted; a categorical keeps the order of its categories."""
        return self.make_levels()


def missing(values: Column) -> npt.NDArray[np.bool_]:
    """Say which entries of a column are missing (None, NaN, or a pandas missing value)."""
    if hasattr(values, "isna"):
        return np.asarray(values.isna(), bool)
    array = np.asarray(values)
    if array.dtype.kind == "f":
        return np.asarray(np.isnan(array))
    if array.dtype.kind == "O":
        return np.array([one is None or one != one for one in array], bool)
    return np.zeros(len(array), bool)


def group(name: str, values: Column) -> Grouping:
    """Group a column that has no missing entry.

    Parameters
    ----------
    name : str
        Name of the column.
    values : array-like, shape (n,)
        Labels: text, whole numbers, booleans, a pandas series, a categorical.

    Returns
    -------
    Grouping
        Levels sorted (a categorical keeps the order of its categories), unused ones left out.
    """
    categories = getattr(getattr(values, "dtype", None), "categories", None)
    if categories is not None:
        return _from_categorical(name, values)
    array = np.asarray(values)
    if array.dtype.kind in "iu" and len(array):
        return _from_integers(name, array)
    if array.dtype.kind == "O":
        return _from_objects(name, array)
    levels, codes = np.unique(array, return_inverse=True)
    return _grouping(name, levels, codes.astype(np.intp))


def _grouping(name: str, labels: npt.NDArray[Any], codes: Codes) -> Grouping:
    return Grouping(
        name=name, count=len(labels), codes=codes, make_levels=lambda: tuple(labels.tolist())
    )


def _from_objects(name: str, array: npt.NDArray[Any]) -> Grouping:
    if len(array) > _LONG:
        import pandas as pd

        found, labels = pd.factorize(array)
        order = _sorted(labels.tolist())
        place = {level: at for at, level in enumerate(order)}
        rank = np.array([place[level] for level in labels.tolist()], np.intp)
        codes = rank[found]
    else:
        order = _sorted(list(dict.fromkeys(array.tolist())))
        place = {level: at for at, level in enumerate(order)}
        codes = np.fromiter((place[one] for one in array.tolist()), np.intp, len(array))
    levels = tuple(order)
    return Grouping(name=name, count=len(levels), codes=codes, make_levels=lambda: levels)


def _sorted(labels: list[Any]) -> list[Any]:
    try:
        return sorted(labels)
    except TypeError:  # mixed types: sort by what is written
        return sorted(labels, key=str)


def _from_categorical(name: str, values: Column) -> Grouping:
    cat: Column = getattr(values, "cat", values)
    labels = np.asarray(cat.categories)
    used, codes = _present(np.asarray(cat.codes, np.intp), len(labels))
    return _grouping(name, labels[used], codes)


def _from_integers(name: str, array: npt.NDArray[Any]) -> Grouping:
    low = int(array.min())
    span = int(array.max()) - low + 1
    if span > _SPAN * len(array) + 1000:
        levels, inverse = np.unique(array, return_inverse=True)
        return _grouping(name, levels, inverse.astype(np.intp))
    used, codes = _present(array.astype(np.intp) - low, span)
    return _grouping(name, used + low, codes)


def _present(codes: Codes, span: int) -> tuple[Codes, Codes]:
    """Close the gaps in codes; give the codes that occur and the new ones."""
    counts = np.bincount(codes, minlength=span)
    used = np.flatnonzero(counts)
    if len(used) == span:
        return used, codes
    place = np.zeros(span, np.intp)
    place[used] = np.arange(len(used))
    return used, place[codes]


def cross(name: str, parts: list[Grouping]) -> Grouping:
    """Group by the combinations of several columns that occur, the last one fastest."""
    if len(parts) == 1:
        return parts[0]
    codes, span = parts[0].codes, parts[0].count
    for part in parts[1:]:
        codes, span = codes * part.count + part.codes, span * part.count
    if span > _SPAN * len(codes) + 100_000:
        used, codes = np.unique(codes, return_inverse=True)
        codes = codes.astype(np.intp)
    else:
        used, codes = _present(codes, span)

    def levels() -> tuple[Any, ...]:
        places = np.unravel_index(used, [part.count for part in parts])
        columns = (_pick(part.levels, at) for part, at in zip(parts, places, strict=True))
        return tuple(zip(*columns, strict=True))

    return Grouping(name=name, count=len(used), codes=codes, make_levels=levels)


def _pick(levels: tuple[Any, ...], at: Codes) -> list[Any]:
    return [levels[place] for place in at.tolist()]

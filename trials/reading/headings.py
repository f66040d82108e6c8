"""Which column of a grower's table is which: headings matched to the vocabulary."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from trials.measures import WeightUnit, weight_unit
from trials.problems import Problem, nearest
from trials.reading.columns import Column
from trials.reading.tables import RawTable

__all__ = ["Place", "match_headings"]

_IN_BRACKETS = re.compile(r"^(?P<name>.*?)\s*[(\[]\s*(?P<unit>[a-z]+)\.?\s*[)\]]$")
_TRAILING = re.compile(r"^(?P<name>.*?\S)[\s,]+(?:in\s+)?(?P<unit>[a-z]+)\.?$")
_FLUSH = re.compile(r"^flush (\d+)(?: date)?$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a column stands in a table.

    Parameters
    ----------
    column : Column
        What it is.
    index : int
        Its place, from 0.
    heading : str
        As the grower wrote it, in lower case.
    unit : {"g", "kg", "oz", "lb"} or None
        The unit that its heading names.
    """

    column: Column
    index: int
    heading: str
    unit: WeightUnit | None


def match_headings(
    table: RawTable, columns: Iterable[Column], problems: list[Problem]
) -> dict[str, Place]:
    """Find the columns of the vocabulary in a table.

    Parameters
    ----------
    table : RawTable
    columns : iterable of Column
        What may stand there.
    problems : list of Problem
        Where headings that stand twice, look misspelt or are not read are added.

    Returns
    -------
    dict of str to Place
        By the heading of the vocabulary.
    """
    known = {name: column for column in columns for name in (column.heading, *column.also)}
    found: dict[str, Place] = {}
    for index, heading in enumerate(table.headings):
        if not heading:
            continue
        name, unit = _split(heading, known)
        column = known.get(name)
        if column is None:
            problems.append(_stranger(table, heading, name, known))
        elif column.heading in found:
            problems.append(
                Problem(
                    file=table.file,
                    column=heading,
                    what="this heading stands twice",
                    mend="Keep one of the two columns, or rename the other.",
                )
            )
        else:
            found[column.heading] = Place(column=column, index=index, heading=heading, unit=unit)
    return found


def _split(heading: str, known: dict[str, Column]) -> tuple[str, WeightUnit | None]:
    """Part a heading from its unit: “flush 1 (oz)”, “flush_1 [g]”, “flush 1 in kg”."""
    plain = re.sub(r"[_\s]+", " ", heading).strip(" :#")
    if plain in known:
        return plain, None
    for pattern in (_IN_BRACKETS, _TRAILING):
        parts = pattern.match(plain)
        if parts is not None:
            unit = weight_unit(parts["unit"])
            if unit is not None:
                return parts["name"].strip(), unit
    return plain, None


def _stranger(table: RawTable, heading: str, name: str, known: dict[str, Column]) -> Problem:
    flush = _FLUSH.match(name)
    if flush is not None:
        return Problem(
            file=table.file,
            column=heading,
            what=f"the plan has no flush {flush[1]}",
            mend="Set flushes in trial.toml to the number you picked, or take the column out.",
        )
    meant = nearest(name, known, closeness=0.8)
    if meant is not None:
        return Problem(
            file=table.file,
            column=heading,
            what="this heading is not known",
            mend=f"Did you mean “{meant}”? Rename it; or give it a name that is not so near.",
        )
    return Problem(
        file=table.file,
        column=heading,
        what="this column is not read",
        mend="That is no harm; it is kept in your file.",
        weight="doubt",
    )

"""At which stage units were lost, and what the grower saw on them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import pandas as pd

from trials.records import Records

__all__ = ["STAGES", "SeenCount", "Stage", "StageCount", "seen_counts", "stage_counts"]

Stage: TypeAlias = Literal[
    "while colonising", "after opening, before the first picking", "between flushes", "not known"
]
STAGES: tuple[Stage, ...] = (
    "while colonising",
    "after opening, before the first picking",
    "between flushes",
    "not known",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StageCount:
    """Contaminated units of one treatment by the stage at which they were lost.

    Parameters
    ----------
    treatment : str
        Its code.
    stage : str
        One of `STAGES`.
    lost : int
        Units.
    """

    treatment: str
    stage: Stage
    lost: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenCount:
    """Contaminated units of one treatment by what the grower saw, in the grower's words.

    Parameters
    ----------
    treatment : str
        Its code.
    seen : str
        As written first; the same words in other letters are counted with it. Empty where
        nothing was written.
    lost : int
        Units.
    """

    treatment: str
    seen: str
    lost: int


def stage_counts(records: Records, known: pd.DataFrame) -> tuple[StageCount, ...]:
    """Count the contaminated units by the stage at which they were lost.

    Parameters
    ----------
    records : Records
    known : pandas.DataFrame
        As `loss_table.known_fates` gives it.

    Returns
    -------
    tuple of StageCount
        Every treatment and every stage at which a unit of any treatment was lost. Where the
        grower wrote down no day of opening, a unit lost before it was white was colonising.
    """
    lost = known[known["lost"]].copy()
    lost["stage"] = _stage_of(records, lost)
    met = [stage for stage in STAGES if (lost["stage"] == stage).any()]
    return tuple(
        StageCount(
            treatment=one.code,
            stage=stage,
            lost=int(((lost["treatment"] == one.code) & (lost["stage"] == stage)).sum()),
        )
        for one in records.trial.treatments
        for stage in met
    )


def _stage_of(records: Records, lost: pd.DataFrame) -> pd.Series:
    weighed = records.flushes[records.flushes["grams"] > 0]
    picked = lost["code"].isin(weighed["code"])
    opened = (lost["opened"].notna() | lost["first_pins"].notna()) & ~_before_opening(lost)
    # A blank day says something only where the grower wrote such days down for other units.
    kept = bool(records.bags["opened"].notna().any())
    white = bool(records.bags["colonised"].notna().any()) & lost["colonised"].isna()
    early = (white | kept) & ~opened
    stage = pd.Series(STAGES[3], index=lost.index, dtype=object)
    return stage.mask(early, STAGES[0]).mask(opened, STAGES[1]).mask(picked, STAGES[2])


def _before_opening(lost: pd.DataFrame) -> pd.Series:
    days = lost[["lost_on", "opened"]].astype("datetime64[ns]")
    return days["lost_on"] < days["opened"]


def seen_counts(records: Records, known: pd.DataFrame) -> tuple[SeenCount, ...]:
    """Count the contaminated units by what was seen on them, in the grower's own words.

    Parameters
    ----------
    records : Records
    known : pandas.DataFrame
        As `loss_table.known_fates` gives it.

    Returns
    -------
    tuple of SeenCount
        By treatment, the most frequent first, those without a word last.
    """
    lost = known[known["lost"]]
    words = lost["seen"].fillna("").astype(str).map(lambda text: " ".join(text.split()))
    told = []
    for one in records.trial.treatments:
        mine = words[lost["treatment"] == one.code]
        first: dict[str, str] = {}
        counts: dict[str, int] = {}
        for text in mine:
            key = text.casefold()
            first.setdefault(key, text)
            counts[key] = counts.get(key, 0) + 1
        for key in sorted(counts, key=lambda word: (not word, -counts[word], word)):
            told.append(SeenCount(treatment=one.code, seen=first[key], lost=counts[key]))
    return tuple(told)

"""The rows of all growers under one another, as one sample a question."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np
import pandas as pd

from analyses.comparison import Sample
from analyses.contamination import contamination_sample
from analyses.flush.counts import came_rows
from analyses.flush.kept_fit import unit_slopes
from analyses.flushes import FLUSH_UNIT, KEPT
from analyses.models.linear.arrays import Codes
from analyses.unit import unit_story
from analyses.yields import STARTED, yield_sample
from trials.records import Records
from trials.together import Together

__all__ = [
    "Scale",
    "Stack",
    "group_terms",
    "kept_rows",
    "loss_rows",
    "own_terms",
    "scale_of",
    "stack",
    "yield_rows",
]

Scale: TypeAlias = Literal["plain", "share"]
"""Whether a response is compared as it is, or is the logarithm of a share."""

_WITHIN = ("block", "column", "batch")


def scale_of(sample: Sample) -> Scale:
    """Say on which scale a sample is compared.

    Parameters
    ----------
    sample : Sample
    """
    return "share" if sample.outcome == "flush drop" else "plain"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """The records of all growers as one, as if all were one grower's.

    Parameters
    ----------
    records : Records
        Plan of the group; bags and flushes of all growers. Codes and batches begin with the
        grower's key, so that those of two growers are never taken for one.
    growers : pandas.Series
        Key of the grower, by code of the bag.
    counted : str
        What counts as one unit: ``batch`` only where every grower gave treatments to batches.
    """

    records: Records
    growers: pd.Series
    counted: str


def stack(together: Together) -> Stack:
    """Put the bags and flushes of all growers under one another.

    Parameters
    ----------
    together : Together
    """
    bags = _joined(together, "bags")
    counted = {unit_story(one.records).counted for one in together.growers}
    return Stack(
        records=replace(
            together.growers[0].records,
            trial=together.reference,
            bags=bags,
            flushes=_joined(together, "flushes"),
        ),
        growers=bags.set_index("code")["grower"],
        counted="batch" if counted == {"batch"} else together.reference.unit,
    )


def _joined(together: Together, table: str) -> pd.DataFrame:
    parts = [getattr(one.records, table) for one in together.growers]
    keys = [one.key for one in together.growers]
    whole = pd.concat(parts, keys=keys, names=["grower", None]).reset_index(level=0)
    whole = whole.reset_index(drop=True)
    allowed = {(one.key, code) for one in together.growers for code in one.treatments}
    pairs = pd.MultiIndex.from_frame(whole[["grower", "treatment"]])
    whole = pd.DataFrame(whole.loc[pairs.isin(list(allowed))]).reset_index(drop=True)
    whole["code"] = whole["grower"] + " " + whole["code"]
    whole["batch"] = (whole["grower"] + " " + whole["batch"]).where(whole["batch"] != "", "")
    return whole


def yield_rows(stacked: Stack) -> Sample:
    """Give one row a bag started whose total is known, in grams.

    Parameters
    ----------
    stacked : Stack
    """
    records = stacked.records
    sample = yield_sample(records, unit_story(records), STARTED)
    frame = sample.frame.assign(grower=records.bags.loc[sample.frame.index, "grower"])
    return _of_group(replace(sample, counted=stacked.counted), frame, stacked)


def kept_rows(stacked: Stack) -> Sample:
    """Give one slope a bag of log weight on flush; one a batch where batches are what counts.

    Parameters
    ----------
    stacked : Stack
    """
    came = came_rows(stacked.records)
    came["grower"] = stacked.growers.loc[came["bag"]].to_numpy()
    by = "batch" if stacked.counted == "batch" else "bag"
    places = came.groupby(by, sort=False)[["grower", "treatment", "block", "batch"]].first()
    frame = places.join(unit_slopes(came, by).rename("response"), how="inner")
    sample = Sample(
        frame=frame, outcome="flush drop", estimand=KEPT, unit=FLUSH_UNIT, random=(),
        counted=stacked.counted,
    )  # fmt: skip
    return _of_group(sample, frame.reset_index(drop=True), stacked)


def loss_rows(stacked: Stack) -> Sample:
    """Give 100 for a lost bag and 0 for another; the share lost where batches are what counts.

    Parameters
    ----------
    stacked : Stack
    """
    records = stacked.records
    sample = replace(contamination_sample(records), counted=stacked.counted)
    frame = sample.frame.assign(grower=records.bags.loc[sample.frame.index, "grower"])
    if stacked.counted == "batch":
        cell = ["grower", "treatment", "block", "batch"]
        shares = frame[frame["batch"] != ""].groupby(cell, sort=False)["response"].mean()
        frame = shares.reset_index()
    return _of_group(sample, frame, stacked)


def _of_group(sample: Sample, frame: pd.DataFrame, stacked: Stack) -> Sample:
    """Keep growers who have the control beside another treatment; name the random terms."""
    control = stacked.records.trial.control.code
    known = frame[frame["response"].notna()]
    with_control = known.loc[known["treatment"] == control, "grower"].unique()
    with_other = known.loc[known["treatment"] != control, "grower"].unique()
    both = set(with_control) & set(with_other)
    kept = known[known["grower"].isin(both)].reset_index(drop=True)
    return replace(sample, frame=kept, random=group_terms(kept))


def group_terms(frame: pd.DataFrame) -> tuple[str, ...]:
    """Give the random terms that the rows of a group can carry.

    Parameters
    ----------
    frame : pandas.DataFrame
        Columns grower, treatment, block, batch.

    Returns
    -------
    tuple of str
        Grower, grower x treatment, and blocks, columns and batches within growers; a term that
        repeats another, or that has a level for every row, is left out.
    """
    within = [f"grower:{name}" for name in _WITHIN if _named(frame, name)]
    return _told_apart(frame, ["grower", "grower:treatment", *within])


def own_terms(frame: pd.DataFrame) -> tuple[str, ...]:
    """Give the random terms that the rows of one grower can carry.

    Parameters
    ----------
    frame : pandas.DataFrame
        Columns block, batch.
    """
    return _told_apart(frame, [name for name in _WITHIN if _named(frame, name)])


def _named(frame: pd.DataFrame, name: str) -> bool:
    return name in frame and bool((frame[name] != "").any())


def _told_apart(frame: pd.DataFrame, terms: list[str]) -> tuple[str, ...]:
    kept: list[tuple[str, Codes]] = []
    for term in terms:
        codes = _coded(frame, term.split(":"))
        levels = int(codes.max(initial=-1)) + 1
        if 1 < levels < len(frame) and not any(_same(codes, levels, one) for _, one in kept):
            kept.append((term, codes))
    return tuple(term for term, _ in kept)


def _coded(frame: pd.DataFrame, names: list[str]) -> Codes:
    """Give each combination of some columns a number, from 0."""
    codes = np.zeros(len(frame), np.intp)
    for name in names:
        inner, levels = pd.factorize(frame[name])
        codes = pd.factorize(codes * len(levels) + inner)[0]
    return codes


def _same(codes: Codes, levels: int, other: Codes) -> bool:
    """Whether two groupings of the same rows are one and the same."""
    if levels != int(other.max()) + 1:
        return False
    return len(np.unique(codes * levels + other)) == levels

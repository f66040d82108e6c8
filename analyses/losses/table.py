"""Lost units counted: by treatment, by batch, and by what was kept alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analyses.models.counts.strata import Strata, check_strata
from trials.records import Records

__all__ = [
    "ArmCounts",
    "BatchLoss",
    "Layers",
    "arm_counts",
    "batch_losses",
    "known_fates",
    "layers",
    "strata_of",
]

_ENOUGH = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchLoss:
    """Units lost of the units of one batch.

    Parameters
    ----------
    treatment, block, batch : str
        Code of the treatment; names, the block's empty where there are none.
    lost, made : int
        Contaminated units, and units whose fate is known.
    """

    treatment: str
    block: str
    batch: str
    lost: int
    made: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmCounts:
    """Contaminated units, and units of known fate, of one treatment."""

    lost: int
    made: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Layers:
    """What units are compared within.

    Parameters
    ----------
    labels : pandas.Series
        A label for each unit of known fate, on the index of `Records.bags`.
    kind : str
        ``batch``, ``block`` or ``block and batch``.
    """

    labels: pd.Series
    kind: str


def known_fates(records: Records) -> pd.DataFrame:
    """Give the units whose fate is known, with the column `lost`.

    Parameters
    ----------
    records : Records
        A unit still going counts as not lost so far.
    """
    bags = records.bags
    known = bags[bags["fate"] != "not recorded"]
    return known.assign(lost=known["fate"] == "contaminated")


def arm_counts(records: Records) -> dict[str, ArmCounts]:
    """Count the contaminated units of every treatment, in the order of the plan.

    Parameters
    ----------
    records : Records
    """
    known = known_fates(records)
    counts = {}
    for one in records.trial.treatments:
        lost = known.loc[known["treatment"] == one.code, "lost"]
        counts[one.code] = ArmCounts(lost=int(lost.sum()), made=len(lost))
    return counts


def batch_losses(records: Records) -> tuple[BatchLoss, ...]:
    """Count the contaminated units of every batch.

    Parameters
    ----------
    records : Records

    Returns
    -------
    tuple of BatchLoss
        By treatment in the order of the plan, batches in the order of the layout; a batch that
        held two treatments has a row for each. Units that are in no batch are left out.
    """
    known = known_fates(records)
    known = known[known["batch"] != ""]
    rows = []
    for one in records.trial.treatments:
        mine = known[known["treatment"] == one.code]
        for (block, batch), part in mine.groupby(["block", "batch"], sort=False):
            rows.append(
                BatchLoss(
                    treatment=one.code,
                    block=str(block),
                    batch=str(batch),
                    lost=int(part["lost"].sum()),
                    made=len(part),
                )
            )
    order = list(dict.fromkeys(records.bags["batch"]))
    place = [one.code for one in records.trial.treatments]
    rows.sort(key=lambda row: (place.index(row.treatment), _number(row.batch, order)))
    return tuple(rows)


def _number(batch: str, order: list[str]) -> tuple[int, int]:
    """Order batches by the number they end in, where they do; else as they were laid out."""
    last = batch.rsplit(" ", 1)[-1]
    return (int(last) if last.isdigit() else len(order), order.index(batch))


def layers(records: Records) -> Layers | None:
    """Find what the units were kept alike in, and the treatments varied within.

    Parameters
    ----------
    records : Records

    Returns
    -------
    Layers or None
        Batches that hold more than one treatment, and blocks; both together unless that leaves
        more than a fifth of the units without a neighbour of another treatment. None where there
        is neither.
    """
    known = known_fates(records)
    batched = (known["batch"] != "") & (
        known.groupby("batch")["treatment"].transform("nunique") > 1
    )
    kinds: dict[str, pd.Series] = {}
    blocked = records.layout.randomisation.endswith("within blocks")
    if blocked and known["block"].nunique() > 1:
        kinds["block"] = known["block"]
    if batched.any():
        kinds["batch"] = known["batch"]
    if len(kinds) == 2:
        both = known["block"] + "\n" + known["batch"]
        kinds = {"block and batch": both, **dict(reversed(kinds.items()))}
    if not kinds:
        return None
    # A batch that is one batch for all leaves nothing to compare within.
    kept = {kind: _compared(known["treatment"], labels) for kind, labels in kinds.items()}
    good = [kind for kind, share in kept.items() if share >= _ENOUGH]
    chosen = good[0] if good else max(kept, key=lambda kind: kept[kind])
    return Layers(labels=kinds[chosen], kind=chosen) if kept[chosen] > 0 else None


def _compared(treatment: pd.Series, labels: pd.Series) -> float:
    """Give the share of units that have a unit of another treatment in their stratum."""
    several = treatment.groupby(labels).transform("nunique") > 1
    return float(several.mean()) if len(several) else 0.0


def strata_of(records: Records, layer: Layers, code: str) -> Strata | None:
    """Count two treatments within each stratum.

    Parameters
    ----------
    records : Records
    layer : Layers
    code : str
        The treatment that is compared with the control.

    Returns
    -------
    Strata or None
        None where no stratum holds both.
    """
    known = known_fates(records)
    parts = [
        known[known["treatment"] == one].groupby(layer.labels)["lost"].agg(["sum", "count"])
        for one in (code, records.trial.control.code)
    ]
    names = sorted(set(parts[0].index) | set(parts[1].index))
    counts = [part.reindex(names, fill_value=0).to_numpy(float) for part in parts]
    if not np.any((counts[0][:, 1] > 0) & (counts[1][:, 1] > 0)):
        return None
    return check_strata(counts[0][:, 0], counts[0][:, 1], counts[1][:, 0], counts[1][:, 1])

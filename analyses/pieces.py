"""The pieces of an analysis as plain values: units, flow of bags, losses, flushes, models."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "BatchLoss",
    "FlowStep",
    "FlushRow",
    "LossCount",
    "ModelNumbers",
    "NaiveCount",
    "UnitStory",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitStory:
    """Which unit counts, and why.

    Parameters
    ----------
    counted : str
        The grower's word for a bag, or ``batch``.
    total : int
        How many there are in the trial.
    per_treatment : tuple of (str, int)
        Treatment code and number of units.
    why : str
        One plain sentence.
    blocks : int
        How many blocks; 0 where there are none.
    block : str
        What a block is; empty where there are none.
    """

    counted: str
    total: int
    per_treatment: tuple[tuple[str, int], ...]
    why: str
    blocks: int = 0
    block: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowStep:
    """Where the units of one treatment went; `made` is the sum of all the others.

    Parameters
    ----------
    treatment : str
        Its code.
    made : int
        Units drawn.
    contaminated, lost_otherwise, still_going, not_recorded : int
        Units by fate.
    gave_nothing, fruited : int
        Units not lost whose total is 0, and more than 0.
    incomplete : int
        Finished units of which a flush was not written down, so that the total is unknown.
    """

    treatment: str
    made: int
    contaminated: int
    lost_otherwise: int
    still_going: int
    not_recorded: int
    gave_nothing: int
    fruited: int
    incomplete: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LossCount:
    """Units lost of units made, with the range of the share that fits.

    Parameters
    ----------
    treatment : str
        Its code.
    lost, made : int
        Contaminated units, and units whose fate is known.
    low, high : float
        Limits of the share, 0 to 1; NaN where nothing shows how much batches differ.
    level : float
        Confidence.
    method : str
        Which interval.
    batches : int
        Batches that the units come from where batches are what counts; otherwise 0.
    """

    treatment: str
    lost: int
    made: int
    low: float
    high: float
    level: float
    method: str
    batches: int = 0


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
class NaiveCount:
    """What counting every unit for itself would have claimed, where batches are what counts.

    Parameters
    ----------
    treatment, control : str
        Codes.
    units, batches : int
        Units that would have been counted, and batches that there are.
    value, low, high : float
        Difference and interval as if each unit stood alone, in units of a hundred.
    p : float
        Two-sided, for no difference, as if each unit stood alone.
    verdict : str
        As the plan would have judged it.
    right_low, right_high : float
        The interval of the batches; NaN where there is none.
    right_verdict : str
        The verdict of the batches.
    correlation : float
        Intracluster correlation by analysis of variance; NaN where it cannot be had.
    design_effect : float
        How many times as many units as batches of this size need; NaN likewise.
    """

    treatment: str
    control: str
    units: int
    batches: int
    value: float
    low: float
    high: float
    p: float
    verdict: str
    right_low: float
    right_high: float
    right_verdict: str
    correlation: float
    design_effect: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FlushRow:
    """One treatment in one flush.

    Parameters
    ----------
    treatment : str
        Its code.
    flush : int
        From 1.
    bags : int
        Units weighed in this flush.
    mean_g, sd_g : float
        Grams per unit weighed, zeros in; NaN where there is none.
    share : float
        Share of the treatment's weighed total, 0 to 1.
    kept : float
        This flush as a share of the one before; NaN for the first.
    """

    treatment: str
    flush: int
    bags: int
    mean_g: float
    sd_g: float
    share: float
    kept: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelNumbers:
    """A fitted model for the statistician.

    Parameters
    ----------
    about : str
        Which question it answers.
    formula : str
        In Wilkinson and Rogers' notation.
    variances : tuple of (str, float)
        Components, in squared units of the response.
    minus2_reml : float
        Twice the negative restricted log-likelihood.
    rows : int
        Rows fitted.
    df_method : str
        How denominator degrees of freedom were found.
    tests : tuple of (str, float, float, float, float)
        Term, numerator df, denominator df, F, p.
    notes : tuple of str
        Boundary fits, dropped rows and the like.
    """

    about: str
    formula: str
    variances: tuple[tuple[str, float], ...]
    minus2_reml: float
    rows: int
    df_method: str
    tests: tuple[tuple[str, float, float, float, float], ...]
    notes: tuple[str, ...]

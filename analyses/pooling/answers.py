"""What the trials of a group say, as plain values for the page to tell."""

from __future__ import annotations

from dataclasses import dataclass

from analyses.companion import Companion
from analyses.estimate import Span
from analyses.finding import Finding, Mean
from analyses.model_numbers import ModelNumbers
from analyses.models.pooled import PooledEffect
from analyses.models.trials_together.prediction import Prediction
from analyses.pooling.own import Own
from trials.together import Together

__all__ = [
    "GroupAnswer",
    "GrowerAnswer",
    "GrowerNotes",
    "MoreGrowers",
    "PooledAnalysis",
    "Reason",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowerAnswer:
    """One grower beside the group.

    Parameters
    ----------
    shown : str
        What pages call the grower.
    own : Own
        The own answer.
    drawn : Span or None
        The own answer drawn towards the group's, the less so the surer it is; None where there
        are not two growers to pool.
    own_share : float
        How much of `drawn` is the own answer, 0 to 1; NaN likewise.
    away : float
        The own answer less the average of the others; NaN with fewer than three growers.
    p, p_holm : float
        Of a grower like the others, and adjusted for all growers (Holm 1979); NaN likewise.
    """

    shown: str
    own: Own
    drawn: Span | None
    own_share: float
    away: float
    p: float
    p_holm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Something recorded of the growers, held against their answers; explored.

    Parameters
    ----------
    name : str
        What was recorded, such as ``temperature``.
    kind : {"number", "group"}
        Whether its values are numbers or names.
    unit : str
        Of numbers, as it was written; may be empty.
    growers : int
        Growers of whom it is known.
    slope : float
        Change of the difference for one more of it, in the unit of the outcome; NaN of names.
    low, high : float
        Limits of the slope or, of two names, of how much more the difference is with the second
        than with the first; NaN of more names. Not adjusted for what else was tried.
    values : tuple of (str, float, int)
        Of names: each with the average difference of its growers and how many they are.
    p, p_holm : float
        Of its having nothing to do with it; the second adjusted for all that were tried.
    tau2_left : float
        Variance between growers that it leaves.
    """

    name: str
    kind: str
    unit: str
    growers: int
    slope: float
    low: float
    high: float
    values: tuple[tuple[str, float, int], ...]
    p: float
    p_holm: float
    tau2_left: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MoreGrowers:
    """How many growers would settle a finding that is open 8 times in 10.

    Parameters
    ----------
    now : int
        Growers pooled.
    wanted : int or None
        Growers in all; None where more than ten times as many as now would be wanted.
    """

    now: int
    wanted: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupAnswer:
    """The answer of the group about one treatment in one outcome.

    Parameters
    ----------
    finding : Finding
        The one-stage estimate, judged; its units are growers.
    counted : str
        What one row is within a grower: the grower's word for a bag, or ``batch``.
    growers : tuple of GrowerAnswer
        Those who have both treatments.
    pooled : PooledEffect or None
        The two-stage companion (REML, Hartung-Knapp); None with fewer than two own answers.
    others : tuple of (str, PooledEffect)
        The same with other variances between growers.
    prediction : Prediction or None
        What one more grower should expect.
    chance_better, chance_worthwhile : float
        That one more grower gains at all, and by what the plan calls worthwhile (for "no worse"
        and "same": stays within the margin); NaN without a prediction or a margin.
    between_sd : float
        Standard deviation between growers of the difference, from the one-stage model.
    differs : {"yes", "not shown", "cannot be told"}
        Whether the difference differs between growers beyond chance.
    reasons : tuple of Reason
        What was recorded, held against the answers.
    more : MoreGrowers or None
        Where the finding is open.
    companions : tuple of Companion
        The same comparison in other measures.
    """

    finding: Finding
    counted: str
    growers: tuple[GrowerAnswer, ...]
    pooled: PooledEffect | None
    others: tuple[tuple[str, PooledEffect], ...]
    prediction: Prediction | None
    chance_better: float
    chance_worthwhile: float
    between_sd: float
    differs: str
    reasons: tuple[Reason, ...]
    more: MoreGrowers | None
    companions: tuple[Companion, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowerNotes:
    """What a reader should know of one grower's trial.

    Parameters
    ----------
    key, shown : str
        As in the group.
    bags, lost : int
        Bags in the layout, and contaminated ones.
    unit : str
        What a bag is called there.
    weights : str
        What was weighed in.
    flushes : int
        The last flush that was weighed.
    remarks : tuple of str
        In plain sentences: a shelf without records, picking that stopped early and the like.
    problems : tuple of str
        Doubts about the records, kept by grower.
    facts : tuple of (str, str)
        What was recorded of room and batch.
    """

    key: str
    shown: str
    bags: int
    lost: int
    unit: str
    weights: str
    flushes: int
    remarks: tuple[str, ...]
    problems: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PooledAnalysis:
    """What the records of a group say.

    Parameters
    ----------
    together : Together
        Growers, differences of their plans, who was left out.
    answers : tuple of GroupAnswer
        What the plan asked about first.
    means : tuple of Mean
        Of each treatment over the growers, in every outcome.
    models : tuple of ModelNumbers
        The one-stage models.
    notes : tuple of GrowerNotes
        Of each grower.
    cautions : tuple of str
        What a reader must know before believing any of it.
    seed : int
        Of the draws behind the predictions.
    """

    together: Together
    answers: tuple[GroupAnswer, ...]
    means: tuple[Mean, ...]
    models: tuple[ModelNumbers, ...]
    notes: tuple[GrowerNotes, ...]
    cautions: tuple[str, ...]
    seed: int

"""Power by how many batches there are and how many bags each holds."""

from __future__ import annotations

from dataclasses import dataclass, replace

from trials.sizing.size_question import SizeQuestion, power_of
from trials.sizing.size_rounds import simple_rounds

__all__ = ["BatchPower", "bags_tried", "batch_power", "batches_tried"]

_MOST_BATCHES = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchPower:
    """Power of one design of whole batches.

    Parameters
    ----------
    batches : int
        Of each treatment.
    bags : int
        In a batch.
    power : float
        For the worthwhile difference, 0 to 1.
    """

    batches: int
    bags: int
    power: float


def batches_tried(planned: int) -> tuple[int, ...]:
    """Give the numbers of batches of each treatment to look at, the planned one among them.

    Parameters
    ----------
    planned : int
    """
    most = max(min(4 * planned, _MOST_BATCHES), planned)
    return tuple(sorted({planned, *range(2, 13), *range(14, most + 1, 2)} - {0, 1}))


def bags_tried(planned: int) -> tuple[int, ...]:
    """Give the sizes of a batch to look at: half, as planned, twice and four times as many.

    Parameters
    ----------
    planned : int
    """
    return tuple(sorted({max(1, planned // 2), planned, 2 * planned, 4 * planned}))


def batch_power(question: SizeQuestion, batches: int, bags: int) -> BatchPower:
    """Give the power with so many batches of each treatment and so many bags in a batch.

    Parameters
    ----------
    question : SizeQuestion
        With a worthwhile difference, about losses or yield of whole batches.
    batches, bags : int
        Of each treatment; in a batch.

    Notes
    -----
    The closed forms of `size_question`. A batch of m bags alike by r tells as much as m / (1 + (m -
    1) r) that stand alone (Kish 1965, Survey Sampling, section 5.4), never more than 1 / r: beyond
    that only more batches help.
    """
    if question.worthwhile is None:
        raise ValueError("power is for a difference: the question has none")
    rounds = simple_rounds(question.treatments, batches, bags_per_batch=bags)
    asked = replace(question, rounds=rounds)
    return BatchPower(
        batches=batches, bags=bags, power=power_of(asked, question.worthwhile, float(batches))
    )

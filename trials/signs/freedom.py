"""What a plan leaves to judge by: residual degrees of freedom, replicates, precision.

Cochran & Cox (1957), Experimental Designs, chapters 4, 7 and 11.
"""

from __future__ import annotations

from dataclasses import dataclass

from trials.trial import Trial

__all__ = ["Stratum", "freedom_words", "strata"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stratum:
    """A level at which something is compared, and what it has to be judged by.

    Parameters
    ----------
    compared : str
        ``treatments``, or the factors compared at this level.
    unit : str
        What one try is: the grower's word for a bag, or ``batch``.
    units : int
        Tries of each treatment or level, of the fewest.
    df : int
        Residual degrees of freedom; 0 or less leaves nothing to judge by.
    """

    compared: str
    unit: str
    units: int
    df: int


def strata(trial: Trial) -> tuple[Stratum, ...]:
    """Give the levels of a plan at which something is compared.

    Parameters
    ----------
    trial : Trial

    Returns
    -------
    tuple of Stratum
        One, but in a split plot two: batches first, then bags within them. Weights at several
        growers are judged by growers.
    """
    design, count = trial.design, len(trial.treatments)
    by_batch = design.applied_to == "batch"
    unit = "batch" if by_batch else trial.unit
    blocks = len(design.block_names) or 1
    total = trial.units // design.bags_per_batch
    if design.layout == "split plot":
        return _split(trial, blocks)
    if design.layout == "latin square":
        return (_treatments(unit, count, (count - 1) * (count - 2)),)
    if design.layout == "rows and columns":
        columns = count * design.units_per_treatment
        df = total - blocks - columns - count + 2
        return (_treatments(unit, blocks * design.units_per_treatment, df),)
    if design.layout == "incomplete blocks":
        return (_treatments(unit, design.units_per_treatment, total - blocks - count + 1),)
    growers = len(design.growers)
    if growers > 1 and trial.aim.outcome == "yield":
        return (_treatments("grower", growers, (growers - 1) * (count - 1)),)
    each = blocks * design.units_per_treatment
    return (_treatments(unit, each, total - blocks - count + 1),)


def _treatments(unit: str, units: int, df: int) -> Stratum:
    return Stratum(compared="treatments", unit=unit, units=units, df=df)


def _split(trial: Trial, blocks: int) -> tuple[Stratum, ...]:
    """Batches: (r - 1)(a - 1); bags: what blocks, batches and treatments leave."""
    factor = trial.design.batch_factor
    levels = len(trial.levels(factor))
    others = [name for name in trial.factors if name != factor]
    whole = (blocks - 1) * (levels - 1)
    within = trial.units - blocks * levels - (len(trial.treatments) - levels)
    fewest = min(trial.units // len(trial.levels(name)) for name in others)
    return (
        Stratum(compared=factor, unit="batch", units=blocks, df=whole),
        Stratum(compared=" and ".join(others), unit=trial.unit, units=fewest, df=within),
    )


def freedom_words(df: float) -> str:
    """Say residual degrees of freedom with what they are for.

    Examples
    --------
    >>> freedom_words(17)
    '17 residual degrees of freedom to judge luck by'
    >>> freedom_words(1)
    '1 residual degree of freedom to judge luck by'
    """
    count = max(round(df), 0)
    return f"{count} residual {'degree' if count == 1 else 'degrees'} of freedom to judge luck by"

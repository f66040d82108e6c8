"""What is asked about a size on the command line, and what is known of the bags."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

__all__ = ["Known", "SizeOptions"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeOptions:
    """What the command line says; None where it says nothing. Shares, not per cent.

    Parameters
    ----------
    outcome, claim, worthwhile : str or None
        As in a plan.
    treatments, blocks, units, bags_per_batch : int or None
        The design.
    mean, sd : float or None
        Grams.
    cv, batch_cv, loss, correlation, power, confidence : float or None
        Shares.
    published : tuple of str
        ``name=value``.
    past : pathlib.Path or None
        Folder of an earlier trial.
    unit : str
        What a bag is called.
    """

    outcome: str | None = None
    claim: str | None = None
    worthwhile: str | None = None
    treatments: int | None = None
    blocks: int | None = None
    units: int | None = None
    bags_per_batch: int | None = None
    mean: float | None = None
    sd: float | None = None
    cv: float | None = None
    batch_cv: float = 0.10
    loss: float | None = None
    correlation: float = 0.05
    power: float = 0.8
    confidence: float | None = None
    published: tuple[str, ...] = ()
    past: Path | None = None
    unit: str = "bag"


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What is known of the bags.

    Parameters
    ----------
    mean : float or None
        Grams.
    cvs, losses : tuple of (str, float)
        Ways in which they may vary, and shares that may be lost; empty where nothing is known.
    main : int
        The likeliest of them.
    cv_batch : float or None
        Of batches.
    sources : tuple of str
        Sentences.
    """

    mean: float | None = None
    cvs: tuple[tuple[str, float], ...] = ()
    losses: tuple[tuple[str, float], ...] = ()
    main: int = 0
    cv_batch: float | None = None
    sources: tuple[str, ...] = ()

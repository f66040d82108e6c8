"""A published table read back: how much its bags varied, and on how many the table rests."""

from __future__ import annotations

import math
from dataclasses import dataclass

from trials.problems import Refused
from trials.sizing.mean_sizes import margin_of_error
from trials.sizing.size_rounds import Rounds, simple_rounds

__all__ = ["ReadBack", "find_replicates", "read_table"]

_MOST_REPLICATES = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadBack:
    """What a table says of its bags.

    Parameters
    ----------
    mean : float
        In the unit of the table.
    cv : float
        Standard deviation of units that are alike, over the mean.
    how : str
        What it was read from, in plain words.
    """

    mean: float
    cv: float
    how: str


def read_table(
    *,
    mean: float,
    sd: float | None = None,
    cv: float | None = None,
    se: float | None = None,
    lsd: float | None = None,
    replicates: int | None = None,
    treatments: int | None = None,
    blocks: bool = True,
) -> ReadBack:
    """Read the variation back from one column of a table.

    Parameters
    ----------
    mean : float
        Above 0.
    sd, se, lsd : float, optional
        Standard deviation, standard error of a mean, least significant difference at 5 %, in the
        unit of the mean.
    cv : float, optional
        Coefficient of variation as a share, not in per cent.
    replicates : int, optional
        Units of each treatment; needed with `se` and `lsd`.
    treatments : int, optional
        Treatments in the table; needed with `lsd`.
    blocks : bool
        Whether the replicates were blocks.

    Raises
    ------
    Refused
        Too little is given, or it is impossible.

    Notes
    -----
    LSD = t sqrt(2 / r) SD (Fisher 1935), so that SD = LSD / (t sqrt(2 / r)).
    """
    for name, given in {"mean": mean, "sd": sd, "cv": cv, "se": se, "lsd": lsd}.items():
        if given is not None and not (math.isfinite(given) and given > 0):
            raise Refused(f"The {name} of a table is a number above 0.")
    if cv is not None:
        return ReadBack(mean=mean, cv=cv, how="its coefficient of variation")
    if sd is not None:
        return ReadBack(mean=mean, cv=sd / mean, how="its standard deviation")
    if se is not None:
        if replicates is None or replicates < 2:
            raise Refused("A standard error tells the spread only with replicates=, 2 or more.")
        return ReadBack(mean=mean, cv=se * math.sqrt(replicates) / mean, how="its standard error")
    if lsd is None:
        raise Refused("Give one of cv=, sd=, se= or lsd= beside the mean.")
    if replicates is None or replicates < 2 or treatments is None or treatments < 2:
        raise Refused("An LSD tells the spread only with replicates= and treatments=, 2 or more.")
    one = margin_of_error(1.0, _design(treatments, replicates, blocks).precision(replicates))
    return ReadBack(mean=mean, cv=lsd / one / mean, how="its least significant difference")


def find_replicates(
    *, mean: float, cv: float, lsd: float, treatments: int, within: float = 0.01
) -> list[tuple[str, int, float]]:
    """Find how many replicates make a table's coefficient of variation and LSD fit each other.

    Parameters
    ----------
    mean, lsd : float
        In one unit.
    cv : float
        As a share.
    treatments : int
        2 or more.
    within : float
        Relative difference up to which they fit.

    Returns
    -------
    list of (str, int, float)
        ``blocks`` or ``no blocks``, replicates, degrees of freedom; the best fit first.

    Notes
    -----
    LSD / (CV mean) = t sqrt(2 / r), whatever was measured.

    Examples
    --------
    Advances in Agriculture 2019, 6853627, table 3, first column:

    >>> find_replicates(mean=23.75, cv=0.1914, lsd=9.08, treatments=4)[0]
    ('blocks', 3, 6.0)
    """
    ratio = lsd / (cv * mean)
    found = []
    for kind in ("blocks", "no blocks"):
        for replicates in range(2, _MOST_REPLICATES + 1):
            design = _design(treatments, replicates, kind == "blocks")
            precision = design.precision(replicates)
            off = abs(margin_of_error(1.0, precision) / ratio - 1)
            if off <= within:
                found.append((off, kind, replicates, float(precision.df)))
    return [(kind, replicates, df) for _, kind, replicates, df in sorted(found)]


def _design(treatments: int, replicates: int, blocks: bool) -> Rounds:
    if blocks:
        return simple_rounds(treatments, 1, blocks=replicates)
    return simple_rounds(treatments, replicates)

"""What one more round of a design adds: units, degrees of freedom and precision."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trials.layout import Layout
from trials.problems import Refused
from trials.sizes import Precision
from trials.trial import Trial

__all__ = ["Rounds", "rounds_of", "simple_rounds"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rounds:
    """A design as a number of equal rounds.

    Parameters
    ----------
    planned : int
        How many rounds are planned.
    bags : int
        Bags in one round, all treatments together.
    each : float
        Units that count, of each treatment, in one round.
    factor : float
        Variance of a difference from one round alone, in squared standard deviations of a unit.
    gained, spent : float
        s rounds leave s * gained - spent degrees of freedom.
    bags_per_unit : int
        Bags in a unit that counts: 1, or the bags of a batch.
    blocks : int
        Blocks in one round; 0 where there are none.
    unit : str
        What a unit of several bags is: ``batch`` or ``grower``.
    """

    planned: int
    bags: int
    each: float
    factor: float
    gained: float
    spent: float
    bags_per_unit: int = 1
    blocks: int = 0
    unit: str = "batch"

    @property
    def least(self) -> int:
        """The fewest rounds that leave a degree of freedom."""
        return int(self.spent // self.gained) + 1

    def precision(self, rounds: float) -> Precision:
        """Give the precision of a number of rounds, fractions allowed."""
        return Precision(factor=self.factor / rounds, df=rounds * self.gained - self.spent)


def simple_rounds(
    treatments: int, units: int, *, blocks: int = 0, bags_per_batch: int = 0
) -> Rounds:
    """Give the rounds of a design without a plan.

    Parameters
    ----------
    treatments : int
        2 or more.
    units : int
        Bags, or batches, of each treatment: in each block, or in all where there are no blocks.
    blocks : int
        Complete blocks; 0 for none.
    bags_per_batch : int
        Bags of a batch, where the treatment is given to whole batches; else 0.

    Notes
    -----
    Cochran & Cox (1957), Experimental Designs, sections 4.1 and 4.2. One round is a block, or one
    unit of each treatment.
    """
    size = max(1, bags_per_batch)
    each = units if blocks else 1
    rows = treatments * each
    return Rounds(
        planned=blocks or units,
        bags=rows * size,
        each=each,
        factor=2 / each,
        gained=rows - (1 if blocks else 0),
        spent=treatments - (1 if blocks else 0),
        bags_per_unit=size,
        blocks=1 if blocks else 0,
    )


def rounds_of(trial: Trial, layout: Layout) -> Rounds:
    """Give the rounds of a plan.

    Parameters
    ----------
    trial : Trial
    layout : Layout
        Any draw of it.

    Returns
    -------
    Rounds
        Complete blocks grow by a block, layouts without blocks by a unit of each treatment, trials
        at several growers about yield by a grower, all others by the whole layout over again, on
        blocks, rows and columns of its own.

    Raises
    ------
    Refused
        A split plot: its comparisons rest on two kinds of units; see `split_rounds`.

    Notes
    -----
    The others by least squares with blocks, rows and columns as fixed; the factor is the mean over
    the comparisons with the control.
    """
    design = trial.design
    if design.layout == "split plot":
        raise Refused(
            "In a split plot losses of some comparisons rest on batches and some on bags, which no "
            "formula here covers. Rehearse it instead: pinset rehearse with this folder."
        )
    if len(design.growers) > 1 and trial.aim.outcome == "yield":
        return _growers(trial)
    plain = not (design.extra_control_units or design.places or design.growers)
    if plain and design.layout in ("complete blocks", "completely random"):
        return simple_rounds(
            len(trial.treatments),
            design.units_per_treatment,
            blocks=design.blocks if design.layout == "complete blocks" else 0,
            bags_per_batch=design.bags_per_batch if design.applied_to == "batch" else 0,
        )
    return _whole_layout(trial, layout)


def _growers(trial: Trial) -> Rounds:
    """Take one round to be one more grower, who gives one mean of each treatment."""
    design, count = trial.design, len(trial.treatments)
    growers, held = len(design.growers), design.blocks * design.units_per_treatment
    return Rounds(
        planned=growers, bags=trial.units // growers, each=1, factor=2, gained=count - 1,
        spent=count - 1, bags_per_unit=held * design.bags_per_batch, unit="grower",
    )  # fmt: skip


def _whole_layout(trial: Trial, layout: Layout) -> Rounds:
    """Take one round to be the layout as it is drawn."""
    by_batch = trial.design.applied_to == "batch"
    slots = list({slot.batch: slot for slot in layout.slots}.values() if by_batch else layout.slots)
    order = [trial.control.code, *(one.code for one in trial.challengers)]
    treatment = np.eye(len(order))[[order.index(slot.treatment) for slot in slots]]
    kept_alike = [np.ones((len(slots), 1))]
    for labels in (
        [slot.block for slot in slots], [slot.row for slot in slots],
        [slot.column for slot in slots],
    ):  # fmt: skip
        names, places = np.unique(labels, return_inverse=True)
        kept_alike.append(np.eye(len(names))[places])
    nuisance = np.concatenate(kept_alike, axis=1)
    # What is left of the treatments when everything kept alike is taken out.
    left = treatment - nuisance @ np.linalg.lstsq(nuisance, treatment, rcond=None)[0]
    inverse = np.linalg.pinv(left.T @ left)
    contrasts = np.eye(len(order))[1:] - np.eye(len(order))[0]
    blocked = trial.design.layout != "completely random"
    return Rounds(
        planned=1,
        bags=len(layout.slots),
        each=float(treatment.sum(axis=0)[1:].mean()),
        factor=float(np.einsum("ij,jk,ik->i", contrasts, inverse, contrasts).mean()),
        gained=len(slots) - int(np.linalg.matrix_rank(nuisance)),
        spent=len(order) - 1,
        bags_per_unit=trial.design.bags_per_batch if by_batch else 1,
        blocks=len(layout.blocks) if blocked else 0,
    )

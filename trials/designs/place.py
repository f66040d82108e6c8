"""One place of a layout before it has a code, and what belongs into a block."""

from __future__ import annotations

from dataclasses import dataclass

from trials.trial import Trial

__all__ = ["Place", "codes_of_block"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A unit, or a batch of units, with its treatment.

    Parameters
    ----------
    treatment : str
        Code of the treatment.
    block, batch, row, column : str
        As in `trials.layout.Slot`.
    position : int
        Its number in the block; 0 where the order of the list says it.
    """

    treatment: str
    block: str = ""
    batch: str = ""
    position: int = 0
    row: str = ""
    column: str = ""


def codes_of_block(trial: Trial) -> list[str]:
    """Give the treatments of one block, each as often as planned, in the order of the plan.

    Parameters
    ----------
    trial : Trial
        Its control stands there more often where the plan says so.
    """
    design = trial.design
    return [
        one.code
        for one in trial.treatments
        for _ in range(design.units_per_treatment + design.extra_control_units * one.control)
    ]

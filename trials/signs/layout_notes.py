"""What a drawn layout is, in a few plain lines: how it was drawn and what it leaves to judge by."""

from __future__ import annotations

from trials.designs.efficiency import efficiency, incidence
from trials.designs.squares import LARGEST_LISTED
from trials.layout import Layout
from trials.plurals import plural
from trials.signs.freedom import freedom_words, strata
from trials.trial import Trial

__all__ = ["layout_notes"]


def layout_notes(trial: Trial, layout: Layout) -> tuple[str, ...]:
    """Describe a drawn layout.

    Parameters
    ----------
    trial : Trial
    layout : Layout

    Returns
    -------
    tuple of str
        Sentences.
    """
    told = [f"Layout: {trial.design.layout}; the lot was drawn for {layout.randomisation}."]
    for one in strata(trial):
        of = "each treatment" if one.compared == "treatments" else f"each level of {one.compared}"
        word = one.unit if one.units == 1 else plural(one.unit)
        told.append(f"For {of}: {one.units} {word}, {freedom_words(one.df)}.")
    if trial.design.layout == "latin square":
        told.append(_square(len(trial.treatments)))
    if trial.design.layout == "incomplete blocks":
        told.append(_blocks(trial, layout))
    return tuple(told)


def _square(order: int) -> str:
    if order <= LARGEST_LISTED:
        return f"Every Latin square of order {order} was equally likely."
    return f"Any Latin square of order {order} could come up, by a long random walk among them."


def _blocks(trial: Trial, layout: Layout) -> str:
    found = efficiency(incidence(trial, layout))
    kept = f"Efficiency factor {found.factor:.3f}; no layout with these places exceeds "
    kept += f"{found.bound:.3f}."
    if found.balanced:
        return f"{kept} Balanced: every two treatments are compared equally well."
    return f"{kept} Not balanced: the best of many exchanges was taken."

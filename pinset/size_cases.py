"""The questions that one size is asked as: ways in which bags may vary, or kinds of comparison."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TypeAlias

from pinset.planning_values import planning_cvs
from pinset.size_options import Known, SizeOptions
from trials.assumptions import Assumptions
from trials.problems import Refused
from trials.sizing.size_question import SizeQuestion, cv_started
from trials.sizing.split_rounds import split_rounds
from trials.trial import Trial

__all__ = ["USUAL_LOSSES", "Cases", "loss_rows", "share", "split_rows", "yield_rows"]

_FEW_HIT = 5
"""With fewer batches hit than this a closed form is too hopeful (tests/calibration/RESULTS.md)."""

_UNKNOWN = "How your own vary is not known yet,"

Cases: TypeAlias = tuple[list[tuple[str, SizeQuestion]], int, tuple[str, ...]]
"""Questions by name, the place of the main one, and what they rest on."""

USUAL_LOSSES = (0.02, 0.05, 0.15)
"""Shares lost to plan with where none is known: common practice, no source."""


def yield_rows(
    base: SizeQuestion, options: SizeOptions, known: Known, trial: Trial | None
) -> Cases:
    """Ask about yield for each way in which bags may vary.

    Parameters
    ----------
    base : SizeQuestion
    options : SizeOptions
    known : Known
    trial : Trial or None
        The plan, where there is one.
    """
    lost = options.loss
    if lost is None:
        lost = known.losses[known.main][1] if known.losses else 0.0
    cv_batch = known.cv_batch if known.cv_batch is not None else options.batch_cv
    base = replace(base, lost=share(lost, "loss"), cv_batch=share(cv_batch, "batch variation"))
    grower: tuple[str, ...] = ()
    if base.rounds.unit == "grower" and trial is not None:
        base, grower = _at_growers(base, trial)
    cvs, main, sources = known.cvs, known.main, known.sources
    if not cvs:
        cvs = tuple((f"they vary by {100 * cv:.0f} % ({name})", cv) for name, cv in planning_cvs())
        main = 1
        sources = (
            *sources,
            f"{_UNKNOWN} so a range is shown that published tables span "
            "(between_bag_cv.csv names them). Say --cv, --past or --published to narrow it.",
        )
    sources = (*sources, *grower)
    if lost:
        sources = (*sources, f"It counts on {100 * lost:.1f} in 100 being lost and giving nothing.")
    return [(name, replace(base, cv=cv)) for name, cv in cvs], main, sources


def _at_growers(base: SizeQuestion, trial: Trial) -> tuple[SizeQuestion, tuple[str, ...]]:
    """Let what a treatment gives vary from grower to grower, and batches besides."""
    design, apart = trial.design, Assumptions().cv_grower_treatment
    batches = design.blocks * design.units_per_treatment if design.applied_to == "batch" else 0
    square = apart**2 + (base.cv_batch**2 / batches if batches else 0.0)
    told = (
        f"What a treatment gives is taken to vary by {100 * apart:.0f} % from grower to grower "
        "besides (common practice, no source), and the answer is about growers in general: more "
        "growers help more than more from each."
    )
    return replace(base, cv_batch=math.sqrt(square)), (told,)


def split_rows(base: SizeQuestion, options: SizeOptions, known: Known, trial: Trial) -> Cases:
    """Ask about each kind of comparison in a split plot, with bags that vary as is likeliest.

    Parameters
    ----------
    base : SizeQuestion
    options : SizeOptions
    known : Known
    trial : Trial
    """
    cases, main, sources = yield_rows(base, options, known, trial)
    if len(cases) > 1:
        unknown = "How your own vary is not known yet. Say --cv, --past or --published."
        sources = (unknown, *(one for one in sources if not one.startswith(_UNKNOWN)))
    name, likeliest = cases[main]
    between = (likeliest.cv_batch / cv_started(likeliest.cv, likeliest.lost)) ** 2
    told = (
        f"In a split plot it hangs on what is compared. Here bags vary by {100 * likeliest.cv:.0f} "
        f"% ({name.split(',')[0]}) and batches by {100 * likeliest.cv_batch:.0f} % besides."
    )
    rows = [
        (kind, replace(likeliest, rounds=rounds, treatments=count))
        for kind, count, rounds in split_rounds(trial, between)
    ]
    return rows, 0, (told, *sources)


def loss_rows(base: SizeQuestion, options: SizeOptions, known: Known) -> Cases:
    """Ask about losses for each share that may be lost.

    Parameters
    ----------
    base : SizeQuestion
    options : SizeOptions
    known : Known
    """
    losses, main, sources = known.losses, known.main, known.sources
    if options.loss is not None:
        lost = share(options.loss, "loss")
        losses, main = ((f"{100 * lost:g} in 100 are lost", lost),), 0
    if not losses:
        losses = tuple((f"{100 * lost:g} in 100 are lost", lost) for lost in USUAL_LOSSES)
        main = 1
        sources = (
            *sources,
            "How many you lose is not known yet, so a range is shown from common practice, which "
            "no source stands behind. Say --loss or --past to narrow it.",
        )
    if base.rounds.bags_per_unit > 1:
        sources = (*sources, f"Bags of a batch are taken to share their luck ({base.correlation:g} "
                             "intracluster correlation).")  # fmt: skip
        if _hit(base, losses[main][1]) < _FEW_HIT:
            sources = (*sources, "With so few lost, few batches would be hit at all. The sums are "
                                 "then too hopeful; pinset rehearse tells more.")  # fmt: skip
    return [(name, replace(base, lost=lost)) for name, lost in losses], main, sources


def _hit(base: SizeQuestion, lost: float) -> float:
    """Give how many batches can be expected to lose a bag, were bags alone."""
    rounds = base.rounds
    batches = rounds.bags * rounds.planned / rounds.bags_per_unit
    return batches * (1 - (1 - lost) ** rounds.bags_per_unit)


def share(value: float, name: str) -> float:
    """Check a share.

    Parameters
    ----------
    value : float
    name : str
        What it is, for the refusal.

    Raises
    ------
    Refused
        It lies outside.
    """
    if not 0 <= value < 1:
        raise Refused(f"The {name} lies from 0 to below 100 per cent.")
    return value

"""Sizes that only a rehearsal gives: which questions need one, and the plan that it is run on."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pinset.size_options import SizeOptions
from trials.assumptions import Assumptions
from trials.problems import Refused
from trials.trial import Aim, Trial

__all__ = ["crop_of", "needs_rehearsal", "plan_to_rehearse"]

_BY_FORMULA = ("yield", "contamination")


def needs_rehearsal(options: SizeOptions, trial: Trial | None) -> bool:
    """Whether a question of size has no closed form here.

    Parameters
    ----------
    options : SizeOptions
    trial : Trial or None
        The plan, where there is one.

    Returns
    -------
    bool
        True for flushes and days, for losses in split plots, and for split plots at several
        growers.
    """
    outcome = options.outcome or (trial.aim.outcome if trial else "yield")
    if outcome not in _BY_FORMULA:
        return True
    if trial is None or trial.design.layout != "split plot":
        return False
    return outcome == "contamination" or len(trial.design.growers) > 1


def plan_to_rehearse(options: SizeOptions, trial: Trial | None) -> Trial:
    """Give the plan that the options describe: the one there is with what they change, or a new.

    Parameters
    ----------
    options : SizeOptions
    trial : Trial or None

    Raises
    ------
    Refused
        The options do not make a plan.
    """
    from trials.trial_file import check_trial, margin

    if trial is None:
        trial = check_trial(_plan_text(options))
    elif any((options.treatments, options.blocks, options.units, options.bags_per_batch)):
        raise Refused(
            "This is found by rehearsing the plan as it stands: change the design in the plan "
            "itself, or leave the folder out and give the options alone."
        )
    outcome = options.outcome or trial.aim.outcome
    same = outcome == trial.aim.outcome
    worthwhile = trial.aim.worthwhile if same else None
    if options.worthwhile is not None:
        worthwhile = margin(options.worthwhile, outcome)  # type: ignore[arg-type]
        if worthwhile is None:
            raise Refused(
                f"“{options.worthwhile}” is no difference in {outcome}: write “3 days” for days, "
                "“10 in 100” for what the next flush keeps."
            )
    claim = options.claim or trial.aim.claim
    if claim != "better" and worthwhile is None:
        raise Refused(f"“{claim}” needs a margin: add --margin.")
    aim = Aim(
        outcome=outcome,  # type: ignore[arg-type]
        claim=claim,  # type: ignore[arg-type]
        worthwhile=worthwhile,
        confidence=options.confidence or trial.aim.confidence,
    )
    flushes = max(trial.flushes, 2) if outcome == "flush drop" else trial.flushes
    return replace(trial, aim=aim, flushes=flushes)


def crop_of(options: SizeOptions) -> Assumptions:
    """Give the crop that the options describe.

    Parameters
    ----------
    options : SizeOptions

    Raises
    ------
    Refused
        Such a crop cannot be.
    """
    usual = Assumptions()
    changed: dict[str, Any] = {
        "cv_batch": options.batch_cv,
        "batch_correlation": options.correlation,
    }
    given = {"mean": options.mean, "cv": options.cv, "contaminated": options.loss}
    changed |= {name: value for name, value in given.items() if value is not None}
    if options.cv is not None:  # flushes cannot vary more than the totals that they make up
        changed["cv_flush"] = min(usual.cv_flush, options.cv * usual.cv_flush / usual.cv)
        changed["cv_days"] = options.cv
    try:
        return replace(usual, **changed)
    except ValueError as error:
        raise Refused(f"Such a crop cannot be simulated: {error}.") from error


def _plan_text(options: SizeOptions) -> str:
    count, blocks = options.treatments or 2, options.blocks
    tables = "".join(
        f'[[treatments]]\ncode = "T{number}"\nname = "treatment {number}"\n'
        + ("control = true\n" if number == 1 else "")
        for number in range(1, count + 1)
    )
    layout = f'layout = "complete blocks"\nblock = "shelf"\nblocks = {blocks}\n'
    if not blocks:
        layout = 'layout = "completely random"\n'
    units = options.units or (1 if blocks else 8)
    batch = options.bags_per_batch
    held = f'applied_to = "batch"\nbags_per_batch = {batch}\n' if batch else ""
    return (
        f'format = 1\n[trial]\ntitle = "A size"\nflushes = 3\nunit = "{options.unit}"\n{tables}'
        f"[design]\n{layout}units_per_treatment = {units}\n{held}seed = 1\n[aim]\n"
        'outcome = "yield"\n'
    )

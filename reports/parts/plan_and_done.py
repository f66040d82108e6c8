"""What was planned, what was done, and how."""

from __future__ import annotations

from analyses.analysis import Analysis
from analyses.finding import BETTER_WHEN
from reports.wording.grammar import counted, full_stop, listed, odds, plural
from reports.wording.names import outcome_words, printable, shorten, treatment_names, unit_word
from trials.trial import Trial

__all__ = ["explored_remarks", "how_done", "planned_remarks"]

_MEASURED = {
    "yield": "fresh weight per {unit} started, lost ones counted as what they gave",
    "contamination": "{units} lost to contamination",
    "flush drop": "how much of a flush the next one keeps",
    "days to colonise": "days to full colonisation",
    "days to pins": "days to first pins",
}
_LOTS = {
    "units over all places": "every place was drawn for one treatment, over the whole trial",
    "units within blocks": "places were drawn anew within each {block}",
    "batches over all places": "whole batches were drawn for one treatment",
    "batches within blocks": "whole batches were drawn within each {block}",
    "rows, columns and treatments of a square": "a square was drawn, then its rows, columns and "
    "treatments were shuffled",
    "rows, columns and treatments of a table": "rows, columns and treatments of a table were "
    "shuffled",
    "batches within blocks, units within batches": "whole batches were drawn within each {block}, "
    "then each {unit} within its batch",
    "treatments over blocks, units within blocks": "treatments were dealt to the {blocks}, then "
    "each {unit} within its {block}",
}


def planned_remarks(trial: Trial) -> tuple[str, ...]:
    """Say what was decided before the first unit.

    Parameters
    ----------
    trial : Trial
        The plan.
    """
    unit, aim = unit_word(trial), trial.aim
    measured = _MEASURED[aim.outcome].format(unit=unit, units=plural(unit))
    remarks = [f"Measured: {measured}.", f"To be shown: {_claim(trial)}."]
    if trial.question.strip():
        remarks.insert(0, f"Asked: {full_stop(shorten(printable(trial.question), 300))}")
    remarks.append(f"Ranges: made so that {odds(aim.confidence)} they hold the truth.")
    remarks.append(f"Picked: {counted(trial.flushes, 'flush')}.")
    return tuple(remarks)


def explored_remarks(analysis: Analysis) -> tuple[str, ...]:
    """Say what was looked at without being the aim, and why it counts so.

    Parameters
    ----------
    analysis : Analysis
        With its findings.
    """
    alike: dict[str, dict[str, None]] = {}
    for finding in analysis.findings:
        if not finding.planned:
            what = outcome_words(finding.estimate, analysis.records.trial)
            alike.setdefault(finding.explored_because, {})[what] = None
    return tuple(
        full_stop(
            f"Looked at afterwards{f', because {printable(why)}' if why else ''}: {listed(what)}"
        )
        for why, what in alike.items()
    )


def how_done(analysis: Analysis) -> tuple[str, ...]:
    """Say how the trial was laid out, recorded and worked out, in plain words.

    Parameters
    ----------
    analysis : Analysis
        What the records say.
    """
    trial, layout = analysis.records.trial, analysis.records.layout
    unit, block = unit_word(trial), printable(trial.design.block) or "block"
    names = listed(treatment_names(trial).values())
    lot = _LOTS[layout.randomisation].format(block=block, blocks=plural(block), unit=unit)
    remarks = [
        f"Compared: {names}.",
        f"Layout: {trial.design.layout}, {_places(analysis, block)}; {_given_to(trial)}.",
        f"Lot: {lot} (seed {layout.seed}).",
    ]
    if analysis.records.sources:
        remarks.append(f"Records: {listed(printable(one) for one in analysis.records.sources)}.")
    if analysis.locked:
        remarks.append(
            f"Plan locked on {printable(analysis.locked)}, fingerprint "
            f"{printable(analysis.fingerprint)[:16]}."
        )
    return tuple(remarks)


def _claim(trial: Trial) -> str:
    others = listed(
        name for code, name in treatment_names(trial).items() if code != trial.control.code
    )
    control = treatment_names(trial)[trial.control.code]
    margin = trial.aim.worthwhile
    said = str(margin).replace("in 100", "in a hundred") if margin else ""
    if trial.aim.claim == "no worse":
        worse = "more" if BETTER_WHEN[trial.aim.outcome] == "lower" else "less"
        return f"{others} no worse than {control}, with {said} {worse} allowed"
    if trial.aim.claim == "same":
        return f"{others} the same as {control}, to within {said}"
    worth = f"; {said} would be worth changing for" if said else "; any gain would count"
    return f"{others} better than {control}{worth}"


def _given_to(trial: Trial) -> str:
    """Say what each treatment was given to."""
    design, unit = trial.design, unit_word(trial)
    if design.applied_to == "batch":
        return "the treatment was given to each batch"
    if design.batch_factor:
        factor = printable(design.batch_factor)
        return f"the {factor} was given to each batch, all else to each {unit}"
    return f"the treatment was given to each {unit}"


def _places(analysis: Analysis, block: str) -> str:
    trial, unit = analysis.records.trial, unit_word(analysis.records.trial)
    design, many = trial.design, analysis.unit.blocks
    held = _held(trial, unit)
    if design.layout == "latin square":
        column = printable(design.column) or "column"
        return f"{counted(many, block)} by {counted(many, column)}, each treatment once in each"
    if design.layout == "rows and columns":
        column = printable(design.column) or "column"
        columns = len({slot.column for slot in analysis.records.layout.slots})
        return f"{counted(many, block)} by {counted(columns, column)}, {held} in each {block}"
    if design.layout == "incomplete blocks":
        room = sorted(set(design.places))
        each = (
            counted(room[0], unit) if len(room) == 1 else f"{room[0]} to {room[-1]} {plural(unit)}"
        )
        return f"{counted(many, block)} of {each}, not every treatment in each; {held} in all"
    return f"{counted(many, block)} with {held} in each" if many else held


def _held(trial: Trial, unit: str) -> str:
    """Say how many units of each treatment stand together."""
    design = trial.design
    each = counted(design.units_per_treatment, unit)
    if design.applied_to == "batch":
        each = f"{counted(design.units_per_treatment, 'batch')} of "
        each += counted(design.bags_per_batch, unit)
    extra = design.extra_control_units
    more = f" and {extra} more of {treatment_names(trial)[trial.control.code]}" if extra else ""
    return f"{each} of each treatment{more}"

"""How far to trust it, and what it cannot say."""

from __future__ import annotations

from analyses.analysis import Analysis
from analyses.finding import Check
from analyses.losses.naive import NaiveCount
from reports.parts.blocks import Table
from reports.wording.grammar import capital, counted, full_stop, in_words, listed, plural
from reports.wording.hedging import VERDICT_WORDS
from reports.wording.names import printable, treatment_names, unit_word
from reports.wording.overview import planned_findings
from trials.trial import Trial

__all__ = ["cannot_say", "checks_table", "trust_remarks"]


def trust_remarks(analysis: Analysis) -> tuple[str, ...]:
    """Say what speaks for the result and what against it, the analysis's own cautions apart.

    Parameters
    ----------
    analysis : Analysis
        What the records say.
    """
    story = analysis.unit
    remarks = [
        full_stop(f"What counts is the {printable(story.counted)}: {_counts(analysis)}")
        + " "
        + full_stop(story.why),
        "The places were drawn by lot, not chosen.",
        _blind(analysis),
        _locked(analysis),
        *(_naive(one, analysis) for one in analysis.naive),
        _uneven(analysis),
        _fragile(analysis),
    ]
    return tuple(remark for remark in remarks if remark)


def checks_table(analysis: Analysis) -> Table | None:
    """Show whether the verdict stands when something is done another way.

    Parameters
    ----------
    analysis : Analysis
        With the checks of its planned findings.

    Returns
    -------
    Table or None
        None where nothing was checked.
    """
    names = treatment_names(analysis.records.trial)
    planned = planned_findings(analysis.findings)
    many = len(planned) > 1
    rows = [
        _check_row(check, names[finding.estimate.treatment] if many else "")
        for finding in planned
        for check in finding.checks
    ]
    if not rows:
        return None
    return Table(
        caption="Does the verdict stand when it is worked out another way?",
        columns=("Done another way", "Verdict then", "Stands?"),
        rows=tuple(rows),
        numeric=(False, False, False),
    )


def cannot_say(analysis: Analysis) -> tuple[str, ...]:
    """Say what the trial was not.

    Parameters
    ----------
    analysis : Analysis
        What the records say.
    """
    trial = analysis.records.trial
    where = f" ({printable(trial.place)})" if printable(trial.place) else ""
    strain = f" ({printable(trial.strain)})" if printable(trial.strain) else ", one strain"
    which = f"{printable(trial.species) or 'one species'}{strain}"
    begun = f" (begun {trial.start.isoformat()})" if trial.start else ""
    remarks = [
        *_where_and_when(trial, f"{where}, at one time{begun}, with {which}"),
        "It says nothing about taste, shelf life or safety.",
    ]
    if trial.aim.outcome != "contamination":
        unit = plural(unit_word(trial))
        remarks.append(f"It was planned for {_aim(analysis)}, not to tell rare losses of {unit}.")
    if analysis.unit.counted == "batch":
        units = plural(unit_word(analysis.records.trial))
        remarks.append(f"More {units} of the same batches would not help; more batches would.")
    if any(not finding.planned for finding in analysis.findings):
        remarks.append("What was looked at afterwards is a hint, not an answer.")
    return tuple(remarks)


def _where_and_when(trial: Trial, told: str) -> tuple[str, ...]:
    growers = len(trial.design.growers)
    if growers < 2:
        return (
            f"It was one trial in one place{told}. Another room, season or strain may answer "
            "otherwise. Several trials together would tell.",
        )
    return (
        f"It was one trial at {growers} growers{told}. Another season or strain may answer "
        "otherwise.",
        "The ranges of weights allow for growers being different; those of losses, flushes and "
        f"days speak of these {growers} growers only.",
    )


def _counts(analysis: Analysis) -> str:
    """Say how many units each treatment has; once where many have as many."""
    each = analysis.unit.per_treatment
    if len(each) > 2 and len({number for _, number in each}) == 1:
        return f"{each[0][1]} with each of the {in_words(len(each))} treatments"
    names = treatment_names(analysis.records.trial)
    return listed(f"{number} with {names[code]}" for code, number in each)


def _aim(analysis: Analysis) -> str:
    return {
        "yield": "weight",
        "contamination": "losses",
        "flush drop": "how fast the flushes fall",
        "days to colonise": "days to colonise",
        "days to pins": "days to first pins",
    }[analysis.records.trial.aim.outcome]


def _blind(analysis: Analysis) -> str:
    if not analysis.records.trial.blind:
        return ""
    return "The labels hid the treatment, so whoever weighed could not favour one."


def _locked(analysis: Analysis) -> str:
    if not analysis.locked:
        return ""
    date = printable(analysis.locked)
    if not analysis.changes:
        return f"The plan was locked on {date} and has not changed since."
    return f"The plan was locked on {date}; {_times(len(analysis.changes))} since, listed below."


def _times(number: int) -> str:
    return "one thing changed" if number == 1 else f"{number} things changed"


def _naive(one: NaiveCount, analysis: Analysis) -> str:
    """Say what counting every unit would have claimed, and that it would have been wrong."""
    trial = analysis.records.trial
    names, units = treatment_names(trial), plural(unit_word(trial))
    about = f"Counting {one.units} {units} as if each stood alone"
    it, claimed = names[one.treatment], VERDICT_WORDS.get(one.verdict, one.verdict)
    right = VERDICT_WORDS.get(one.right_verdict, "")
    if claimed == right:
        return (
            f"{about} would give {it} the same verdict ({claimed}), but with a range that is not "
            "earned."
        )
    return (
        f"{about} would give {it} the verdict “{claimed}”. That would be wrong: with "
        f"{counted(one.batches, 'batch')} as what counts it is “{right}”."
    )


def _uneven(analysis: Analysis) -> str:
    """Point out when nearly all losses fall on one side."""
    lost = [one.lost for one in analysis.losses]
    if sum(lost) < 3 or len(lost) < 2 or max(lost) < sum(lost):
        return ""
    return "All losses were on one side; look at both ways of counting before you decide."


def _fragile(analysis: Analysis) -> str:
    findings = planned_findings(analysis.findings)
    turned = [check.name for finding in findings for check in finding.checks if not check.agrees]
    if not turned:
        return ""
    ways = listed(dict.fromkeys(printable(name) for name in turned), last="or")
    verdict = "the verdict" if len(findings) == 1 else "a verdict below"
    return f"It hangs on details: worked out {ways}, {verdict} would be another one."


def _check_row(check: Check, name: str) -> tuple[str, str, str]:
    done = capital(printable(check.name))
    verdict = VERDICT_WORDS.get(check.verdict, printable(check.verdict))
    return (f"{done} ({name})" if name else done, verdict, "yes" if check.agrees else "no")

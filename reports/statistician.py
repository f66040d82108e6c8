"""The numbers for a statistician: estimates, models, tests and methods, every digit that counts."""

from __future__ import annotations

import math
from collections.abc import Sequence

from analyses.analysis import Analysis, ModelNumbers
from analyses.finding import Finding
from reports.blocks import Block, Bullets, Details, Paragraph, Table
from reports.names import printable, treatment_names
from trials.trial import Trial

__all__ = ["statistician_blocks"]

_NOTHING = "–"
_REFERENCES = (
    "Patterson & Thompson (1971): REML. Kenward & Roger (1997): adjusted covariance and "
    "degrees of freedom.",
    "Fieller (1954): interval of a ratio, behind every percentage.",
    "Wilson (1927), Clopper & Pearson (1934): intervals of shares.",
    "Hurlbert (1984): the unit that counts. ICH E9(R1): the estimands.",
    "Piaggio et al. (2012): reading an interval against a margin.",
)


def statistician_blocks(analysis: Analysis) -> tuple[Block, ...]:
    """Give everything needed to check and repeat the analysis.

    Parameters
    ----------
    analysis : Analysis
        What the records say.

    Returns
    -------
    tuple of Block
        Folded away but for one sentence.
    """
    trial = analysis.records.trial
    intro = Paragraph(
        text="Differences are treatment less control. The interval is the one judged; “alone” is "
        "the interval of that comparison by itself, not widened for the others. All values are "
        "also in results.json."
    )
    details: list[Block] = []
    if analysis.findings:
        details.append(_estimates(analysis.findings, trial))
        details.append(_judged(analysis.findings, trial))
    folded: list[Block] = [Details(summary="Estimates and tests", blocks=tuple(details))]
    folded += [_model(model) for model in analysis.models]
    folded.append(Details(summary="Methods", blocks=_methods(analysis)))
    return (intro, *folded)


def _estimates(findings: Sequence[Finding], trial: Trial) -> Table:
    names = treatment_names(trial)
    rows = []
    for finding in findings:
        one = finding.estimate
        rows.append(
            (
                names[one.treatment], f"{one.outcome}, {one.estimand}",
                "planned" if finding.planned else "explored", one.unit,
                _digits(one.value), _interval(one.low, one.high),
                _interval(one.low_alone, one.high_alone), f"{100 * one.level:g} %",
                _digits(one.df), _p(one.p), _p(finding.p_rerandomised),
                f"{one.units} ({printable(one.unit_counted)})",
            )
        )  # fmt: skip
    columns = ("Treatment", "Outcome", "Status", "Unit", "Estimate", "Interval", "Alone", "Level",
               "df", "p", "p, re-randomised", "Units")  # fmt: skip
    return Table(
        caption="Estimates", columns=columns, rows=tuple(rows),
        numeric=(False, False, False, False, *(True for _ in columns[4:])),
    )  # fmt: skip


def _judged(findings: Sequence[Finding], trial: Trial) -> Table:
    names = treatment_names(trial)
    rows = [
        (
            names[finding.estimate.treatment],
            f"{finding.estimate.outcome}, {finding.estimate.estimand}",
            finding.claim,
            _digits(finding.worthwhile),
            finding.verdict,
            "; ".join(printable(reason) for reason in finding.reasons),
        )
        for finding in findings
    ]
    return Table(
        caption="How each was judged, in the better direction",
        columns=("Treatment", "Outcome", "Claim", "Margin", "Verdict", "Because"),
        rows=tuple(rows), numeric=(False, False, False, True, False, False),
    )  # fmt: skip


def _model(model: ModelNumbers) -> Details:
    numbers = Table(
        caption=f"{model.rows} rows, −2 REML log-likelihood {_digits(model.minus2_reml)}",
        columns=("Component", "Variance"),
        rows=tuple((printable(name), _digits(value)) for name, value in model.variances),
        numeric=(False, True),
    )
    tests = Table(
        caption=f"Tests of terms; denominator df: {printable(model.df_method)}",
        columns=("Term", "df", "Denominator df", "F", "p"),
        rows=tuple(
            (printable(term), _digits(df), _digits(rest), _digits(f), _p(p))
            for term, df, rest, f, p in model.tests
        ),
        numeric=(False, True, True, True, True),
    )
    blocks: list[Block] = [Paragraph(text=f"Model: {printable(model.formula)}")]
    blocks += [table for table in (numbers, tests) if table.rows]
    if model.notes:
        blocks.append(Bullets(items=tuple(printable(note) for note in model.notes)))
    return Details(summary=f"Model of {printable(model.about)}", blocks=tuple(blocks))


def _methods(analysis: Analysis) -> tuple[Block, ...]:
    used = dict.fromkeys(
        f"{finding.estimate.outcome}, {finding.estimate.estimand}: "
        f"{printable(finding.estimate.method)}."
        for finding in analysis.findings
    )
    notes = dict.fromkeys(
        printable(note) for finding in analysis.findings for note in finding.estimate.notes
    )
    losses = dict.fromkeys(f"Losses: {printable(loss.method)}." for loss in analysis.losses)
    repeat = (
        f"Seed of the draw: {analysis.records.layout.seed}. Shuffled: "
        f"{analysis.records.layout.randomisation}. Fingerprint of plan and layout: "
        f"{printable(analysis.fingerprint) or 'none'}.",
        _versions(),
    )
    return (
        Bullets(items=(*used, *losses, *notes, *repeat)),
        Paragraph(text="Methods are described by:"),
        Bullets(items=_REFERENCES),
    )


def _versions() -> str:
    from importlib import metadata

    named = []
    for package in ("pinset", "numpy", "scipy", "statsmodels", "pandas"):
        try:
            named.append(f"{package} {metadata.version(package)}")
        except metadata.PackageNotFoundError:
            continue
    return f"Made with {', '.join(named)}."


def _digits(value: float | None) -> str:
    if value is None or math.isnan(value):
        return _NOTHING
    return f"{value:.5g}".replace("-", "−")


def _interval(low: float, high: float) -> str:
    if math.isnan(low) or math.isnan(high):
        return _NOTHING
    return f"{_digits(low)} to {_digits(high)}"


def _p(value: float | None) -> str:
    if value is None or math.isnan(value):
        return _NOTHING
    return "< 0.0001" if value < 1e-4 else f"{value:.4f}"

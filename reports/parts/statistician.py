"""The numbers for a statistician: estimates, models, tests and methods, every digit that counts."""

from __future__ import annotations

from collections.abc import Sequence

from analyses.analysis import Analysis
from analyses.finding import Finding
from analyses.model_numbers import ModelNumbers
from reports.parts.blocks import Block, Bullets, Details, Paragraph, Table
from reports.parts.companions import companion_details
from reports.parts.digits import digits, interval, p_value
from reports.parts.flush_and_day_numbers import flush_and_day_details
from reports.parts.loss_story import Draw
from reports.wording.names import printable, treatment_names
from trials.trial import Trial

__all__ = ["statistician_blocks"]

_REFERENCES: tuple[tuple[tuple[str, ...], str], ...] = (
    (("reml",), "REML: Patterson & Thompson (1971), Biometrika 58, 545-554."),
    (("p, holm",), "What was explored: Holm (1979), Scand J Statist 6, 65-70."),
    (("turnbull",), "Days between looks: Turnbull (1976), J R Stat Soc B 38, 290-295."),
    (("accelerated",), "Lawless (2003), Statistical Models and Methods for Lifetime Data."),
    (("renewal",), "Replacing units: Ross (1996), Stochastic Processes, theorem 3.6.1."),
    (("kenward",), "Kenward & Roger (1997), Biometrics 53, 983-997."),
    (("satterthwaite",), "Fai & Cornelius (1996), J Stat Comput Simul 54, 363-378."),
    (("multivariate t",), "Comparisons with a control: Dunnett (1955), JASA 50, 1096-1121."),
    (("percentage",), "Percentages: Fieller (1954), J R Stat Soc B 16, 175-185."),
    (("wilson",), "Shares: Wilson (1927), JASA 22, 209-212."),
    (("clopper",), "Shares of none or all: Clopper & Pearson (1934), Biometrika 26, 404-413."),
    (("miettinen",), "Miettinen & Nurminen (1985), Statistics in Medicine 4, 213-226."),
    (("newcombe",), "Newcombe (1998), Statistics in Medicine 17, 873-890."),
    (("fisher",), "Exact test of a table: Fisher (1935), The Design of Experiments."),
    (("firth",), "Firth (1993), Biometrika 80, 27-38."),
    (("farrington",), "Farrington & Manning (1990), Statistics in Medicine 9, 1447-1454."),
    (("mee's",), "Mee (1984), Biometrics 40, 1175-1176."),
    (("mantel-haenszel risk",), "Greenland & Robins (1985), Biometrics 41, 55-68."),
    (("cochran-mantel",), "Mantel & Haenszel (1959), J Natl Cancer Inst 22, 719-748."),
    (("conditional",), "Common odds ratio, exact: Gart (1970), Biometrika 57, 471-475."),
    (
        ("t of the batches", "design effects"),
        "Donner & Klar (2000), Design and Analysis of Cluster Randomization Trials.",
    ),
    (
        ("batches' dispersion",),
        "Shares with their dispersion: Rao & Scott (1992), Biometrics 48, 577-585.",
    ),
    (("adaptive quadrature",), "Pinheiro & Bates (1995), J Comput Graph Stat 4, 12-35."),
    (("between-within",), "Li & Redden (2015), BMC Med Res Methodol 15:38."),
    (("kaplan",), "Kaplan & Meier (1958), JASA 53, 457-481."),
    (("re-random",), "Phipson & Smyth (2010), Stat Appl Genet Mol Biol 9, article 39."),
    (("batch",), "The unit that counts: Hurlbert (1984), Ecological Monographs 54, 187-211."),
    (("judged",), "Interval and margin: Piaggio et al. (2012), JAMA 308, 2594-2604."),
)
"""Words that a method's description holds, and where the method was published."""


def statistician_blocks(analysis: Analysis, draw: Draw) -> tuple[Block, ...]:
    """Give everything needed to check and repeat the analysis.

    Parameters
    ----------
    analysis : Analysis
        What the records say.
    draw : callable
        Draws a figure, or nothing on a terminal.

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
        details.append(_tests(analysis.findings, trial))
        details.append(_judged(analysis.findings, trial))
    folded: list[Block] = [Details(summary="Estimates and tests", blocks=tuple(details))]
    folded += [_model(model) for model in analysis.models]
    folded += _pictures(analysis, draw)
    folded += companion_details(analysis)
    folded += flush_and_day_details(analysis)
    folded.append(Details(summary="Methods", blocks=_methods(analysis)))
    return (intro, *folded)


def _pictures(analysis: Analysis, draw: Draw) -> tuple[Details, ...]:
    from reports.figures.influence import figure_influence
    from reports.figures.residuals import figure_residuals

    drawn = (*draw(figure_residuals, analysis), *draw(figure_influence, analysis))
    return (Details(summary="Residuals and influence", blocks=drawn),) if drawn else ()


def _estimates(findings: Sequence[Finding], trial: Trial) -> Table:
    names = treatment_names(trial)
    rows = []
    for finding in findings:
        one = finding.estimate
        rows.append(
            (
                names[one.treatment], f"{one.outcome}, {one.estimand}",
                "planned" if finding.planned else "explored", one.unit,
                digits(one.value), interval(one.low, one.high),
                interval(one.low_alone, one.high_alone), f"{100 * one.level:g} %",
                f"{one.units} ({printable(one.unit_counted)})",
            )
        )  # fmt: skip
    columns = ("Treatment", "Outcome", "Status", "Unit", "Estimate", "Interval", "Alone", "Level",
               "Units")  # fmt: skip
    return Table(
        caption="Estimates", columns=columns, rows=tuple(rows),
        numeric=(False, False, False, False, *(True for _ in columns[4:])),
    )  # fmt: skip


def _tests(findings: Sequence[Finding], trial: Trial) -> Table:
    names = treatment_names(trial)
    rows = tuple(
        (
            names[finding.estimate.treatment],
            f"{finding.estimate.outcome}, {finding.estimate.estimand}",
            digits(finding.estimate.df),
            p_value(finding.estimate.p),
            p_value(finding.p_rerandomised),
            p_value(finding.p_holm),
        )
        for finding in findings
    )
    return Table(
        caption="Tests of no difference",
        columns=("Treatment", "Outcome", "df", "p", "p, re-randomised", "p, Holm"),
        rows=rows, numeric=(False, False, True, True, True, True),
    )  # fmt: skip


def _judged(findings: Sequence[Finding], trial: Trial) -> Table:
    names = treatment_names(trial)
    rows = [
        (
            names[finding.estimate.treatment],
            f"{finding.estimate.outcome}, {finding.estimate.estimand}",
            finding.claim,
            digits(finding.worthwhile),
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
        caption=f"{model.rows} rows, −2 REML log-likelihood {digits(model.minus2_reml)}",
        columns=("Component", "Variance"),
        rows=tuple((printable(name), digits(value)) for name, value in model.variances),
        numeric=(False, True),
    )
    tests = Table(
        caption=f"Tests of terms; denominator df: {printable(model.df_method)}",
        columns=("Term", "df", "Denominator df", "F", "p"),
        rows=tuple(
            (printable(term), digits(df), digits(rest), digits(f), p_value(p))
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
    losses = dict.fromkeys(
        f"Losses: {printable(loss.method)}." for loss in analysis.losses if loss.method != "none"
    )
    repeat = (
        f"Seed of the draw: {analysis.records.layout.seed}. Shuffled: "
        f"{analysis.records.layout.randomisation}. Fingerprint of plan and layout: "
        f"{printable(analysis.fingerprint) or 'none'}.",
        _versions(),
    )
    remarks = Bullets(items=(*used, *losses, *notes, *repeat))
    references = _references(analysis, " ".join(remarks.items))
    if not references:
        return (remarks,)
    return (remarks, Paragraph(text="Published in:"), Bullets(items=references))


def _references(analysis: Analysis, remarks: str) -> tuple[str, ...]:
    """Cite what was used, by the words of the methods' own descriptions."""
    words = [remarks, *(model.df_method for model in analysis.models), analysis.unit.counted]
    words += [one.method for finding in analysis.findings for one in finding.companions]
    if analysis.loss_pattern is not None and analysis.loss_pattern.curves:
        words.append("kaplan")
    if any(finding.estimate.percent for finding in analysis.findings):
        words.append("percentage")
    if any(finding.p_rerandomised is not None for finding in analysis.findings):
        words.append("re-random")
    if analysis.findings:
        words.append("judged")
    if any(finding.p_holm is not None for finding in analysis.findings):
        words.append("p, holm")
    if analysis.worth is not None and analysis.worth.best:
        words.append("renewal")
    words += [one.method for one in analysis.times]
    said = " ".join(words).lower()
    return tuple(cited for keys, cited in _REFERENCES if any(key in said for key in keys))


def _versions() -> str:
    from importlib import metadata

    named = []
    for package in ("pinset", "numpy", "scipy", "statsmodels", "pandas"):
        try:
            named.append(f"{package} {metadata.version(package)}")
        except metadata.PackageNotFoundError:
            continue
    return f"Made with {', '.join(named)}."

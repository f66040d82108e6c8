"""The report of a trial as plain values, in the order in which a grower asks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence

from analyses.analysis import Analysis
from analyses.finding import Finding
from reports.parts.answer import how_made, key_answer
from reports.parts.blocks import Block, Bullets, Figure, Paragraph, Report, Section
from reports.parts.cautions import for_repeating, mould
from reports.parts.checklist import checklist_details
from reports.parts.factors import factor_blocks
from reports.parts.flush_blocks import flush_blocks
from reports.parts.loss_story import batches_told, loss_story
from reports.parts.plan_and_done import explored_remarks, how_done, planned_remarks
from reports.parts.statistician import statistician_blocks
from reports.parts.treatments_table import flushes_table, losses_table, means_tables
from reports.parts.trust import cannot_say, checks_table, trust_remarks
from reports.wording.also_words import also_lines, also_opening
from reports.wording.explored_together import explored_together
from reports.wording.grammar import plural
from reports.wording.losses import (
    gone_otherwise,
    loss_line,
    losses_total,
    not_ended,
    unknown_totals,
)
from reports.wording.money import best_lines, in_money, money_notes
from reports.wording.names import printable, shorten, treatment_names, unit_word
from reports.wording.outlook import in_efficiency, next_hundred
from reports.wording.overview import planned_findings
from reports.wording.time_words import looks_said, times_table
from reports.words import evidence, headline

__all__ = ["INVENTED", "Report", "write_report"]

INVENTED = "Invented data: this trial was made up to show what a report looks like."
_LONGEST_TITLE, _LONGEST_QUESTION = 120, 300


def write_report(analysis: Analysis, *, figures: bool = True) -> Report:
    """Write the report of a trial.

    Parameters
    ----------
    analysis : Analysis
        What the records say.
    figures : bool
        Whether to draw; a terminal has no use for pictures.

    Returns
    -------
    Report
        Sections whose analysis is not there are left out.

    Examples
    --------
    >>> from analyses.questions import analyse
    >>> from trials.records import read
    >>> report = write_report(analyse(read("data/demos/mixes")), figures=False)
    >>> [section.id for section in report.sections][:3]
    ['meaning', 'treatments', 'losses']
    """
    trial = analysis.records.trial
    draw = _drawn if figures else _undrawn
    sections = (
        _picture(analysis, draw),
        _meaning(analysis),
        _treatments(analysis, draw),
        _losses(analysis, draw),
        _flushes(analysis, draw),
        _timing(analysis, draw),
        _another_flush(analysis, draw),
        _trust(analysis, draw),
        Section(
            id="not-said", heading="What it cannot say",
            blocks=(Bullets(items=cannot_say(analysis)),),
        ),
        _planned(analysis),
        Section(
            id="how", heading="How it was done",
            blocks=(
                Paragraph(text=how_made(analysis)), Bullets(items=how_done(analysis)),
                checklist_details(analysis),
            ),
        ),
        Section(
            id="statistician", heading="The numbers for a statistician",
            blocks=statistician_blocks(analysis, draw),
        ),
        _cautions(analysis),
    )  # fmt: skip
    return Report(
        title=shorten(printable(trial.title), _LONGEST_TITLE) or "A grow trial",
        question=shorten(printable(trial.question), _LONGEST_QUESTION),
        invented=INVENTED if trial.invented else "",
        key=key_answer(analysis),
        sections=tuple(section for section in sections if section.blocks),
    )


def _drawn(figure: Callable[[Analysis], Figure | None], analysis: Analysis) -> list[Figure]:
    done = figure(analysis)
    return [done] if done else []


def _undrawn(_figure: Callable[[Analysis], Figure | None], _analysis: Analysis) -> list[Figure]:
    return []


_Draw = Callable[[Callable[[Analysis], Figure | None], Analysis], list[Figure]]


def _picture(analysis: Analysis, draw: _Draw) -> Section:
    from reports.figures.bags import figure_bags
    from reports.figures.batches import figure_batches
    from reports.figures.difference import figure_difference
    from reports.figures.losses import figure_losses

    first = figure_bags
    if analysis.records.trial.aim.outcome == "contamination":
        first = figure_batches if analysis.unit.counted == "batch" else figure_losses
    shown = (first, figure_difference)
    blocks = [done for figure in shown for done in draw(figure, analysis)]
    return Section(id="picture", heading="The picture", blocks=tuple(blocks))


def _meaning(analysis: Analysis) -> Section:
    trial = analysis.records.trial
    told = [next_hundred(one, trial) for one in planned_findings(analysis.findings)]
    units = plural(unit_word(trial))
    return Section(
        id="meaning", heading=f"The next hundred {units}",
        blocks=_paragraphs((*told, *in_money(analysis))),
    )  # fmt: skip


def _treatments(analysis: Analysis, draw: _Draw) -> Section:
    from reports.figures.bags import figure_bags

    trial, unit = analysis.records.trial, unit_word(analysis.records.trial)
    blocks: list[Block] = [
        Paragraph(
            text=f"Per {unit} started counts every {unit}, a lost one as what it gave. Per {unit} "
            f"that fruited leaves the lost ones out: it tells whether a treatment is better when "
            "nothing goes wrong."
        ),
        *means_tables(analysis),
        *_paragraphs(in_efficiency(one, trial) for one in planned_findings(analysis.findings)),
    ]
    if trial.aim.outcome == "contamination":
        blocks += draw(figure_bags, analysis)
    blocks += factor_blocks(analysis)
    blocks += _explored(analysis, "yield")
    if analysis.also:
        blocks += [Paragraph(text=also_opening(analysis)), Bullets(items=also_lines(analysis))]
    return Section(id="treatments", heading="Each treatment", blocks=tuple(blocks))


def _explored(analysis: Analysis, *outcomes: str) -> list[Block]:
    """Tell what was looked at afterwards in some outcomes, apart from what the answer told."""
    trial = analysis.records.trial
    told = {one.id for one in planned_findings(analysis.findings)}
    chosen = [
        one
        for one in analysis.findings
        if one.estimate.outcome in outcomes and one.id not in told and not one.planned
    ]
    if not chosen:
        return []
    opening = headline(chosen[0], trial)
    usual = [one for one in chosen if headline(one, trial) == opening]
    others = [one for one in chosen if one not in usual]
    lines = [evidence(one, trial) for one in usual]
    lines += [_both(one, analysis) for one in others]
    return [Paragraph(text=opening), Bullets(items=tuple(lines))]


def _both(finding: Finding, analysis: Analysis) -> str:
    trial = analysis.records.trial
    return f"{headline(finding, trial)} {evidence(finding, trial)}"


def _losses(analysis: Analysis, draw: _Draw) -> Section:
    from reports.figures.flow import figure_flow
    from reports.figures.losses import figure_losses

    blocks: list[Block] = [*_losses_said(analysis), *draw(figure_flow, analysis)]
    if analysis.records.trial.aim.outcome != "contamination":
        blocks += draw(figure_losses, analysis)
    blocks += [*_explored(analysis, "contamination"), *batches_told(analysis, draw)]
    blocks += loss_story(analysis, draw)
    blocks += [losses_table(analysis), mould()]
    return Section(id="losses", heading="Losses", blocks=tuple(blocks))


def _losses_said(analysis: Analysis) -> tuple[Block, ...]:
    trial = analysis.records.trial
    unit, names = unit_word(trial), treatment_names(trial)
    hit = Counter(row.treatment for row in analysis.batches if row.lost)
    lines = tuple(
        loss_line(one, names[one.treatment], unit, hit=hit[one.treatment])
        for one in analysis.losses
    )
    shared = ""
    if analysis.unit.counted == "batch":
        shared = f"The {plural(unit)} of one batch share its luck, so batches are what counts."
    return (
        *_paragraphs(
            (
                losses_total(analysis),
                gone_otherwise(analysis),
                not_ended(analysis),
                unknown_totals(analysis),
            )
        ),
        Bullets(items=lines),
        *_paragraphs((shared,)),
    )


def _flushes(analysis: Analysis, draw: _Draw) -> Section:
    from reports.figures.flushes import figure_flushes, first_flush
    from reports.figures.shares import figure_shares

    table = flushes_table(analysis)
    if table is None or analysis.records.trial.flushes < 2:
        return Section(id="flushes", heading="Flushes", blocks=())
    drawn = draw(figure_flushes, analysis)
    opening: Sequence[Block] = drawn or (Paragraph(text=first_flush(analysis)),)
    blocks: list[Block] = [*opening, table, *flush_blocks(analysis)]
    blocks += draw(figure_shares, analysis)
    blocks += _explored(analysis, "flush drop")
    return Section(id="flushes", heading="Flushes", blocks=tuple(blocks))


def _timing(analysis: Analysis, draw: _Draw) -> Section:
    from reports.figures.times import figure_times

    table = times_table(analysis)
    blocks: list[Block] = [*draw(figure_times, analysis), *([table] if table else [])]
    blocks += _explored(analysis, "days to colonise", "days to pins")
    blocks += _paragraphs((looks_said(analysis),))
    return Section(id="timing", heading="Timing", blocks=tuple(blocks))


def _another_flush(analysis: Analysis, draw: _Draw) -> Section:
    from reports.figures.value import figure_value

    unit = unit_word(analysis.records.trial)
    lines = best_lines(analysis)
    blocks: list[Block] = []
    if lines:
        blocks = [*draw(figure_value, analysis), Bullets(items=lines)]
        blocks += _paragraphs((money_notes(analysis),))
    return Section(id="money", heading=f"Another flush or a new {unit}", blocks=tuple(blocks))


def _trust(analysis: Analysis, draw: _Draw) -> Section:
    from reports.figures.larger import figure_larger
    from reports.figures.places import figure_places

    remarks = dict.fromkeys((*trust_remarks(analysis), *map(printable, analysis.cautions)))
    blocks: list[Block] = [Bullets(items=tuple(remarks))]
    checks = checks_table(analysis)
    if checks:
        blocks.append(checks)
    blocks += [*draw(figure_larger, analysis), *draw(figure_places, analysis)]
    return Section(id="trust", heading="How far to trust it", blocks=tuple(blocks))


def _planned(analysis: Analysis) -> Section:
    blocks: list[Block] = [
        Bullets(items=(*planned_remarks(analysis.records.trial), *explored_remarks(analysis))),
        *_paragraphs((explored_together(analysis),)),
    ]
    if analysis.changes:
        blocks += [
            Paragraph(text="Changed since the plan was locked:"),
            Bullets(items=tuple(printable(change) for change in analysis.changes)),
        ]
    if analysis.records.doubts:
        blocks += [
            Paragraph(text="In doubt in the records:"),
            Bullets(items=tuple(printable(str(doubt)) for doubt in analysis.records.doubts)),
        ]
    return Section(id="planned", heading="What was planned and what was done", blocks=tuple(blocks))


def _cautions(analysis: Analysis) -> Section:
    return Section(id="cautions", heading="Cautions", blocks=for_repeating(analysis.records.trial))


def _paragraphs(texts: Iterable[str]) -> tuple[Block, ...]:
    return tuple(Paragraph(text=text) for text in texts if text)

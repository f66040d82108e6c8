"""For a statistician: flushes, days, money and side measures, every digit that counts."""

from __future__ import annotations

import math

from analyses.analysis import Analysis
from analyses.flush.story import FlushStory
from analyses.times.stage_times import StageTimes
from reports.parts.blocks import Block, Bullets, Details, Table
from reports.parts.digits import digits, interval
from reports.wording.names import printable, treatment_names

__all__ = ["flush_and_day_details"]


def flush_and_day_details(analysis: Analysis) -> tuple[Block, ...]:
    """Give what stands behind the parts on flushes, days and what was also written down.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    tuple of Block
        Folded; parts that are not there are left out.
    """
    names = treatment_names(analysis.records.trial)
    blocks: list[Block] = []
    if analysis.story is not None and analysis.story.kept:
        flushes = _flushes(analysis.story, names, analysis.unit.counted == "batch")
        blocks.append(Details(summary="How the flushes fall", blocks=flushes))
    if analysis.times:
        told = tuple(block for one in analysis.times for block in _times(one, names))
        blocks.append(Details(summary="Days to each stage", blocks=told))
    also = _also(analysis, names)
    if also is not None:
        blocks.append(Details(summary="Also written down", blocks=(also,)))
    return tuple(blocks)


def _flushes(story: FlushStory, names: dict[str, str], by_batch: bool) -> tuple[Block, ...]:
    slopes = Table(
        caption="Slope of log weight a flush, Kenward-Roger; exp(slope) is the share kept",
        columns=("Treatment", "Slope", "SE", "df", "Share kept", "Interval", "Units", "Flushes"),
        rows=tuple(
            (names.get(one.treatment, "one slope for all"), digits(one.slope), digits(one.error),
             digits(one.df), digits(one.value), interval(one.low, one.high), str(one.units),
             str(one.rows))
            for one in story.kept
        ),
        numeric=(False, *(True,) * 7),
    )  # fmt: skip
    ratios = Table(
        caption="Ratio of shares kept, each comparison by itself",
        columns=("Treatment", "Ratio", "Interval", "Log ratio", "SE", "df", "t", "p"),
        rows=tuple(
            (names[one.treatment], digits(one.value), interval(one.low, one.high),
             digits(one.log_ratio), digits(one.error), digits(one.df), digits(one.t),
             digits(one.p))
            for one in story.contrasts
        ),
        numeric=(False, *(True,) * 7),
    )  # fmt: skip
    steps = Table(
        caption="Successive ratios, a level for each flush",
        columns=("Treatment", "Flush", "Ratio to the one before", "Interval"),
        rows=tuple(
            (names.get(one.treatment, "all"), str(one.flush), digits(one.value),
             interval(one.low, one.high))
            for one in story.steps
        ),
        numeric=(False, True, True, True),
    )  # fmt: skip
    tables = [table for table in (slopes, ratios, steps) if table.rows]
    return (*tables, Bullets(items=_flush_remarks(story, by_batch)))


def _flush_remarks(story: FlushStory, by_batch: bool) -> tuple[str, ...]:
    own = "one for each flush" if story.spread_by_flush else "one for all"
    remarks = [
        f"Residual variance: {own}; equal ones by likelihood ratio: p {digits(story.spread_p)}.",
    ]
    if math.isfinite(story.curvature_p):
        remarks.append(
            f"Against a straight fall of the logarithm (levels for each flush): p "
            f"{digits(story.curvature_p)}."
        )
    if story.draws:
        remarks.append(
            "What to expect per unit started: share standing (discrete hazard, before and after "
            "the first flush) x chance of the flush (logistic in its number) x mean weight when it "
            "came (mixed model of the logarithm, back by the mean exponential residual, Duan "
            "1983). Both logistic parts with Firth's penalty (1993), intercepts set to the share "
            "seen (Puhr et al. 2017). Ranges: percentiles of a parametric bootstrap, "
            f"{story.draws} draws, seed {story.seed}."
        )
    if story.draws and by_batch:
        remarks.append(
            "In each draw the batches have luck of their own: in grams and in the slope of the "
            "logarithm (normal), in losses and in flushes that came (beta). How far they differ is "
            "drawn too, mean squares over chi-squared on batches less treatments, less blocks but "
            "one (generalized pivotal quantities, Weerahandi 1993); for counts from the moment "
            "estimate of Williams (1982), at least binomial. The kinds of luck go together as "
            "they do in these batches. Were one luck to rule them all, a 95 % range of a third "
            "flush would hold the truth in about 93 of 100 trials (simulated, 8 batches)."
        )
    return (*remarks, *(printable(note) for note in story.notes))


def _times(one: StageTimes, names: dict[str, str]) -> tuple[Block, ...]:
    rows = tuple(
        (names[each.treatment], each.shape, digits(each.ratio), interval(each.low, each.high),
         digits(each.log_ratio), digits(each.error), digits(each.statistic), digits(each.p))
        for each in one.compared
    )  # fmt: skip
    remarks = [f"{one.stage.capitalize()}: {printable(one.method)}."]
    if one.compared:
        inside = "with" if one.blocks_in_model else "without"
        remarks.append(f"Accelerated failure time models {inside} blocks; Wald's limits.")
    if one.log_rank is not None:
        chi, df, p = one.log_rank
        remarks.append(
            f"Log-rank within blocks: chi-squared {digits(chi)} on {df} df, p {digits(p)}."
        )
    blocks: list[Block] = [Bullets(items=tuple(remarks))]
    if rows:
        blocks.insert(
            0,
            Table(
                caption=f"Ratio of times, {one.stage}",
                columns=("Treatment", "Shape", "Ratio", "Interval", "Log ratio", "SE",
                         "LR chi-squared", "p"),
                rows=rows,
                numeric=(False, False, *(True,) * 6),
            ),
        )  # fmt: skip
    return tuple(blocks)


def _also(analysis: Analysis, names: dict[str, str]) -> Table | None:
    if not analysis.also:
        return None
    return Table(
        caption="Also written down: treatment less control, each by itself",
        columns=("Measure", "Treatment", "Unit", "Mean", "Control", "Difference", "Interval", "p",
                 "p, Holm", "Units"),
        rows=tuple(
            (one.measure, names[one.treatment], one.unit, digits(one.mean),
             digits(one.control_mean), digits(one.value), interval(one.low, one.high),
             digits(one.p),
             digits(one.p_holm), str(one.units))
            for one in analysis.also
        ),
        numeric=(False, False, False, *(True,) * 7),
    )  # fmt: skip

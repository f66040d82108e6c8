"""The part of the report that tells how the flushes fall, after their picture and plain table."""

from __future__ import annotations

from analyses.analysis import Analysis
from reports.parts.blocks import Block, Bullets, Paragraph
from reports.wording.flush_words import (
    came_table,
    expected_table,
    flush_lines,
    kept_lines,
    lost_between,
    no_end_lines,
)
from reports.wording.grammar import plural
from reports.wording.names import unit_word

__all__ = ["flush_blocks"]


def flush_blocks(analysis: Analysis) -> tuple[Block, ...]:
    """Give sentences and tables about the flushes.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    tuple of Block
        Empty where the analysis has no story of the flushes.
    """
    blocks: list[Block] = []
    lines = (*flush_lines(analysis), lost_between(analysis))
    blocks += [Paragraph(text=line) for line in lines if line]
    kept = kept_lines(analysis)
    blocks += [Bullets(items=kept)] if kept else []
    blocks += [table for table in (came_table(analysis), expected_table(analysis)) if table]
    ends = no_end_lines(analysis)
    blocks += [Bullets(items=ends)] if ends else []
    if analysis.story is not None and analysis.story.why_no_ranges and analysis.story.expected:
        blocks.append(
            Paragraph(
                text="What to expect has no range here: "
                f"{analysis.story.why_no_ranges.rstrip('.')}."
            )
        )
    if analysis.story is not None and analysis.story.draws and analysis.unit.counted == "batch":
        units = plural(unit_word(analysis.records.trial))
        blocks.append(
            Paragraph(
                text=f"What to expect has ranges that count batches: the {units} of one batch "
                "share its luck."
            )
        )
    return tuple(blocks)

"""The short form for a terminal: the answer, the numbers, the losses, the doubts."""

from __future__ import annotations

from analyses.analysis import Analysis
from reports.parts.answer import key_answer
from reports.parts.treatments_table import losses_table, means_tables
from reports.plain_text import fill, key_lines, table_lines
from reports.report import INVENTED
from reports.wording.names import printable

__all__ = ["summary"]


def summary(analysis: Analysis, *, width: int = 80) -> str:
    """Say what the records show, in the sentences of the page.

    Parameters
    ----------
    analysis : Analysis
        What the records say.
    width : int
        Columns of the terminal.

    Returns
    -------
    str
        Without a line break at the end.
    """
    trial = analysis.records.trial
    lines = fill(printable(trial.title), width)
    if trial.invented:
        lines += fill(INVENTED, width)
    lines += ["", *key_lines(key_answer(analysis), width)]
    for table in (*means_tables(analysis)[:1], losses_table(analysis)):
        lines += ["", *table_lines(table, width)]
    for caution in analysis.cautions:
        lines += ["", *fill(printable(caution), width, first="! ", rest="  ")]
    return "\n".join(lines)

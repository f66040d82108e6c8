"""The report of a group of growers, from their folders to the files of the page."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import Path

from analyses.pooling.pool import pool
from pinset.reporting import Made, report_files
from reports.group_report import write_group_report
from reports.group_results import group_results
from trials.together import read_together
from trials.writing import write_all

__all__ = ["GROUP_REPORT", "pool_into"]

GROUP_REPORT = "group-report"


def pool_into(
    folders: Sequence[Path],
    out: Path,
    *,
    allow: Collection[str] = (),
    seed: int | None = None,
) -> Made:
    """Read, pool and write the report of a group.

    Parameters
    ----------
    folders : sequence of pathlib.Path
        Trial folders, or folders that hold such folders.
    out : pathlib.Path
        Folder of the report; made where it is not there.
    allow : collection of str
        Differences between the plans that may pass.
    seed : int, optional
        Of the draws; otherwise the plan's own.

    Returns
    -------
    Made

    Raises
    ------
    Problems
        Mistakes in the files, and differences that were not allowed.
    Refused
        With fewer than two growers.
    """
    analysis = pool(read_together(folders, allow=allow), seed=seed)
    report = write_group_report(analysis)
    contents = report_files(report, group_results(analysis))
    write_all(out, contents)
    return Made(
        answer=report.answer,
        page=out / "report.html",
        files=tuple(out / name for name in contents),
    )

"""The report of a trial folder, from its records to the files of the page."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from analyses.questions import analyse
from pinset.waiting import telling_of
from reports.document import to_docx
from reports.page import to_html, to_markdown
from reports.parts.blocks import Report
from reports.report import write_report
from reports.results import results
from trials.holding import holding
from trials.records import read
from trials.writing import write_all

__all__ = ["REPORT_FOLDER", "Made", "report_files", "report_into"]

REPORT_FOLDER = "report"


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What a report made.

    Parameters
    ----------
    answer : str
        The answer in one or two sentences.
    page : pathlib.Path
        The page.
    files : tuple of pathlib.Path
        Everything written.
    """

    answer: str
    page: Path
    files: tuple[Path, ...]


def report_into(folder: Path) -> Made:
    """Analyse a trial folder and write its report.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    Made

    Raises
    ------
    Problems
        Plan, layout or records have mistakes.
    """
    with telling_of("Reading the records"):
        records = read(folder)
    with telling_of("Analysing"):
        analysis = analyse(records)
    with telling_of("Writing the page"):
        report = write_report(analysis)
    place = folder / REPORT_FOLDER
    contents = report_files(report, results(analysis))
    with holding(folder):
        write_all(folder, {f"{REPORT_FOLDER}/{name}": one for name, one in contents.items()})
    return Made(
        answer=report.answer,
        page=place / "report.html",
        files=tuple(place / name for name in contents),
    )


def report_files(report: Report, told: Mapping[str, object]) -> dict[str, str | bytes]:
    """Give the files of a report by their names inside its folder.

    Parameters
    ----------
    report : Report
    told : mapping
        What ``results.json`` holds.
    """
    contents: dict[str, str | bytes] = {}
    for figure in report.figures:
        contents[f"figures/{figure.name}.svg"] = figure.svg
        contents[f"figures/{figure.name}.png"] = figure.png
    numbers = json.dumps(told, indent=1, ensure_ascii=False, allow_nan=False)
    return contents | {
        "results.json": numbers + "\n",
        "report.md": to_markdown(report),
        "report.docx": to_docx(report),
        "report.html": to_html(report),
    }

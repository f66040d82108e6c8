"""The report of a trial folder, from its records to the files of the page."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from analyses.questions import analyse
from pinset.waiting import telling_of
from reports.document import to_docx
from reports.page import to_html, to_markdown
from reports.report import write_report
from reports.results import results
from trials.holding import holding
from trials.records import read
from trials.writing import write_all

__all__ = ["REPORT_FOLDER", "Made", "report_into"]

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
    numbers = json.dumps(results(analysis), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    contents: dict[str, str | bytes] = {}
    for figure in report.figures:
        contents[f"figures/{figure.name}.svg"] = figure.svg
        contents[f"figures/{figure.name}.png"] = figure.png
    contents |= {
        "results.json": numbers,
        "report.md": to_markdown(report),
        "report.docx": to_docx(report),
        "report.html": to_html(report),
    }
    with holding(folder):
        write_all(folder, {f"{REPORT_FOLDER}/{name}": one for name, one in contents.items()})
    return Made(
        answer=report.answer,
        page=place / "report.html",
        files=tuple(place / name for name in contents),
    )

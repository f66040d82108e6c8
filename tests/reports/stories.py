"""The trials that ship with pinset and the invented ones, told once for all tests of the pages."""

from __future__ import annotations

from functools import cache

from analyses.pooling.pool import pool
from analyses.questions import analyse
from pinset.demos import demo_folder, demo_stories
from reports.group_report import write_group_report
from reports.parts.blocks import Bullets, Details, Figure, Paragraph
from reports.report import write_report
from tests.reports.invented import four_mixes, one_batch_a_side, shortcut, two_mixes
from trials.layout_file import LAYOUT_FILE
from trials.records import read
from trials.together import read_together

__all__ = [
    "MADE_UP", "SINGLE", "STORIES", "invented_report", "main_text", "story", "story_report",
]  # fmt: skip

STORIES = demo_stories()
"""Every story that this version holds; a new one is tested as soon as it is there."""

SINGLE = tuple(name for name in STORIES if (demo_folder() / name / LAYOUT_FILE).is_file())
"""Those of one trial; the others are folders of several growers."""

MADE_UP = {one.__name__: one for one in (two_mixes, four_mixes, one_batch_a_side, shortcut)}
"""Each gives an analysis of its own, which a test may change."""


@cache
def invented_report(name):
    """The report of one of `MADE_UP`, with its figures."""
    return write_report(MADE_UP[name]())


@cache
def story(name):
    """The analysis of a story of one trial, or of one grower: ``group/grower-a``."""
    return analyse(read(demo_folder() / name))


@cache
def story_report(name, *, figures=True):
    """The report of a story; several growers are pooled, as the command does."""
    if name in SINGLE:
        return write_report(story(name), figures=figures)
    return write_group_report(pool(read_together([demo_folder() / name])))


def main_text(report):
    """The sentences of a report that a grower reads, one a line: no table, no statistician."""
    key = report.key
    lines = [key.headline, *key.sentences, key.basis, *key.steps]
    for section in report.sections:
        if section.id != "statistician":
            lines += [line for block in section.blocks for line in _lines(block)]
    return "\n".join(line if line.endswith((".", "?", "!")) else f"{line}." for line in lines)


def _lines(block):
    if isinstance(block, Paragraph):
        return [block.text]
    if isinstance(block, Bullets):
        return list(block.items)
    if isinstance(block, Figure):
        return [block.title, block.caption]
    if isinstance(block, Details):
        return [block.summary, *(line for inner in block.blocks for line in _lines(inner))]
    return [block.text] if hasattr(block, "text") else []

"""A report as Markdown, for a newsletter or a forum."""

from __future__ import annotations

import re

from reports.parts.blocks import Block, Bullets, Caution, Details, Figure, Paragraph, Report, Table

__all__ = ["to_markdown"]

_SPECIAL = re.compile(r"([\\`*_{}\[\]<>#|~$&])")
_LINE_START = re.compile(r"^(\d*)([-+=.)])(?=\s|$)")
_ADDRESS = re.compile(r"(?i)\b(?:https?|ftp|mailto|xmpp)(?=:)|\bwww(?=\.)|(?<=\w)(?=@\w)")
"""Where many readers of Markdown make a link of a bare address."""


def to_markdown(report: Report) -> str:
    """Give a report as Markdown with tables; pictures stand in ``figures/`` beside it.

    Parameters
    ----------
    report : Report
        Signs that Markdown or HTML would read are escaped.
    """
    key = report.key
    lines = [f"# {_safe(report.title)}", ""]
    if report.invented:
        lines += [f"**{_safe(report.invented)}**", ""]
    if report.question:
        lines += [f"*{_safe(report.question)}*", ""]
    lines += [f"**{_safe(key.headline)}**", ""]
    for text in (*key.sentences, key.basis):
        lines += [_safe(text), ""]
    for step in key.steps:
        lines += [f"**{_safe(step)}**", ""]
    for section in report.sections:
        lines += [f"## {_safe(section.heading)}", ""]
        for block in section.blocks:
            lines += [*_block(block), ""]
    return "\n".join(lines).rstrip() + "\n"


def _block(block: Block) -> list[str]:
    if isinstance(block, Paragraph):
        return [_safe(block.text)]
    if isinstance(block, Bullets):
        return [f"- {_safe(item)}" for item in block.items]
    if isinstance(block, Table):
        return _table(block)
    if isinstance(block, Figure):
        picture = f"![{_safe(block.alt)}](figures/{block.name}.png)"
        return [picture, "", f"*{_safe(block.title)}* {_safe(block.caption)}"]
    if isinstance(block, Caution):
        return [f"> **{_safe(block.title)}.** {_safe(block.text)}"]
    if isinstance(block, Details):
        lines = [f"### {_safe(block.summary)}", ""]
        for inner in block.blocks:
            lines += [*_block(inner), ""]
        return lines[:-1]
    return []


def _table(table: Table) -> list[str]:
    rule = ["---:" if number else "---" for number in table.numeric]
    rows = [table.columns, *table.rows]
    written = [f"| {' | '.join(_safe(cell) for cell in row)} |" for row in rows]
    return [_safe(table.caption), "", written[0], f"| {' | '.join(rule)} |", *written[1:]]


def _safe(text: str) -> str:
    """Escape what Markdown would read as markup; a line break ends nothing here."""
    escaped = _SPECIAL.sub(r"\\\1", " ".join(text.split()))
    return _LINE_START.sub(r"\1\\\2", _ADDRESS.sub(r"\g<0>\\", escaped))

"""How the document looks: paper, type, rules of tables, frames of cautions; and its bare facts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from reports.figures.look import tint

if TYPE_CHECKING:
    from docx.document import Document
    from docx.styles.style import ParagraphStyle
    from docx.table import Table
    from docx.text.paragraph import Paragraph

__all__ = ["column_widths", "dress", "frame", "name_facts", "rule_table"]

_HEAD, _BODY = "Georgia", "Calibri"
_SIZES = {"Normal": 10.5, "Title": 20, "Heading 1": 14, "Heading 2": 11.5, "Caption": 9}
_PAGE_MM, _MARGIN_MM = 210, 20
_TEXT_MM = _PAGE_MM - 2 * _MARGIN_MM
_LINE, _LONGEST_LINE, _CELL_PADDING, _BOLD = 100, 60, 3, 1.3
"""Letters between the margins, in one column at most, and as padding; how wide a bold one is."""
_DAY = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)
"""Stands for every date that the format asks for, so that no clock is in the file."""


def dress(document: Document) -> None:
    """Set paper and type.

    Parameters
    ----------
    document : docx Document
        As made from the library's own template.
    """
    from docx.shared import Mm, Pt, RGBColor

    for section in document.sections:
        section.page_width, section.page_height = Mm(_PAGE_MM), Mm(297)
        section.left_margin = section.right_margin = Mm(_MARGIN_MM)
        section.top_margin = section.bottom_margin = Mm(18)
    for name, size in _SIZES.items():
        style: ParagraphStyle = document.styles[name]
        headed = name in ("Title", "Heading 1", "Heading 2")
        style.font.name = _HEAD if headed else _BODY
        _all_scripts(style, style.font.name)
        style.font.size = Pt(size)
        style.font.color.rgb = RGBColor.from_string(
            tint("muted" if name == "Caption" else "ink").lstrip("#").upper()
        )
        style.font.bold = headed
        style.paragraph_format.keep_with_next = headed
        style.paragraph_format.space_after = Pt(6)
    _drop_rule(document.styles["Title"])


def name_facts(document: Document, title: str) -> None:
    """Fill what the file says about itself: its title, a fixed date, nobody's name.

    Parameters
    ----------
    document : docx Document
    title : str
        Title of the report.
    """
    facts = document.core_properties
    facts.title, facts.language, facts.revision = title[:255], "en-GB", 1
    for part in ("author", "last_modified_by", "comments", "subject", "keywords", "category"):
        setattr(facts, part, "")
    facts.created = facts.modified = facts.last_printed = _DAY
    for key, relation in list(document.part.package.rels.items()):
        if relation.reltype.endswith("/thumbnail"):
            # A picture of the library's empty template, which this is not.
            del document.part.package.rels[key]


def column_widths(rows: Sequence[Sequence[str]]) -> tuple[float, ...]:
    """Share the width between the margins among columns by what stands in them.

    Parameters
    ----------
    rows : sequence of sequence of str
        Every row, the heading among them.

    Returns
    -------
    tuple of float
        In mm: room for the longest word of each column first; what is left goes by how much
        longer its longest text is.
    """
    columns = list(zip(*rows, strict=True))
    words = [
        max(
            len(word) * (_BOLD if place == 0 or row == 0 else 1)
            for row, text in enumerate(one)
            for word in (*text.split(), "")
        )
        for place, one in enumerate(columns)
    ]
    texts = [min(max(map(len, one)), _LONGEST_LINE) for one in columns]
    least = [_CELL_PADDING + word for word in words]
    wish = [max(text - word, 0) for text, word in zip(texts, words, strict=True)]
    free = max(_LINE - sum(least), 0)
    asked = max(sum(wish), free, 1)
    wide = [base + free * more / asked for base, more in zip(least, wish, strict=True)]
    spare = max(_LINE - sum(wide), 0) / len(wide)
    total = sum(wide) + spare * len(wide)
    return tuple(_TEXT_MM * (one + spare) / total for one in wide)


def rule_table(table: Table) -> None:
    """Rule a table lightly: one line under each row, its heading repeated on every page.

    Parameters
    ----------
    table : docx Table
        With its heading in the first row.
    """
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    borders = OxmlElement("w:tblBorders")
    for side in ("top", "bottom", "insideH"):
        borders.append(_border(f"w:{side}", tint("rule"), 4))
    _insert_before(table._tbl.tblPr, borders, ("w:tblLayout", "w:tblLook"))
    heading = OxmlElement("w:tblHeader")
    heading.set(qn("w:val"), "true")
    table.rows[0]._tr.get_or_add_trPr().append(heading)
    for row in table.rows:
        whole = OxmlElement("w:cantSplit")
        row._tr.get_or_add_trPr().append(whole)


def frame(paragraph: Paragraph) -> None:
    """Put a frame around a caution.

    Parameters
    ----------
    paragraph : docx Paragraph
    """
    from docx.oxml import OxmlElement

    borders = OxmlElement("w:pBdr")
    for side in ("top", "left", "bottom", "right"):
        borders.append(_border(f"w:{side}", tint("series 1"), 24 if side == "left" else 6))
    paragraph._p.get_or_add_pPr().append(borders)
    paragraph.paragraph_format.keep_together = True


def _insert_before(parent: Any, child: Any, names: tuple[str, ...]) -> None:  # noqa: ANN401
    """Keep the order of ECMA-376: a child stands before these others, or last."""
    from docx.oxml.ns import qn

    later = [one for one in parent if one.tag in {qn(name) for name in names}]
    if later:
        later[0].addprevious(child)
    else:
        parent.append(child)


def _border(name: str, colour: str, eighths: int) -> object:
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    line = OxmlElement(name)
    values = {"val": "single", "sz": str(eighths), "space": "4", "color": colour.lstrip("#")}
    for key, value in values.items():
        line.set(qn(f"w:{key}"), value)
    return line


def _all_scripts(style: ParagraphStyle, font: str) -> None:
    """Name the font for every script, or the template's theme would win."""
    from docx.oxml.ns import qn

    fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
    for key in list(fonts.attrib):
        del fonts.attrib[key]
    for script in ("ascii", "hAnsi", "cs", "eastAsia"):
        fonts.set(qn(f"w:{script}"), font)


def _drop_rule(style: ParagraphStyle) -> None:
    from docx.oxml.ns import qn

    for rule in style.element.findall(f".//{qn('w:pBdr')}"):
        rule.getparent().remove(rule)

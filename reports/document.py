"""A report as a document to edit, through python-docx: the whole page in the order of the page.

Text goes in as text only, whatever a grower wrote: no fields, no links. The same report gives the
same bytes: dates in the file are fixed, and no name of a person or machine is in it.
"""

from __future__ import annotations

import io
import re
import zipfile
from typing import TYPE_CHECKING

from reports.document_look import column_widths, dress, frame, name_facts, rule_table
from reports.parts.blocks import (
    Block,
    Bullets,
    Caution,
    Details,
    Figure,
    KeyAnswer,
    Paragraph,
    Report,
    Table,
)
from reports.wording.grammar import tied

if TYPE_CHECKING:
    from docx.document import Document
    from docx.table import _Cell
    from docx.text.paragraph import Paragraph as Line

__all__ = ["to_docx"]

_PICTURE_MM = 106
_MANY_COLUMNS = 7
_ISOLATED = re.compile("\u2068([^\u2069]*)\u2069")
_UNFIT = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0, section 2.2, does not allow."""
_DAY = (1980, 1, 1, 0, 0, 0)
"""The earliest date that a zip file can hold."""


def to_docx(report: Report) -> bytes:
    """Give a report as a document of Office Open XML (ECMA-376).

    Parameters
    ----------
    report : Report
        Pictures go in as PNG at print size, with their title and alternative text.

    Returns
    -------
    bytes
        A file ``.docx``; the same for the same report.
    """
    import docx

    document = docx.Document()
    dress(document)
    name_facts(document, _fit(report.title))
    _write(_line(document, "Title"), report.title)
    if report.invented:
        _write(document.add_paragraph(), report.invented, bold=True)
    if report.question:
        _write(document.add_paragraph(), report.question, italic=True)
    _key(document, report.key)
    for section in report.sections:
        _write(_line(document, "Heading 1"), section.heading)
        for block in section.blocks:
            _block(document, block)
    return _packed(document)


def _line(document: Document, style: str) -> Line:
    """Begin a paragraph; its style goes in by its id, which the library would look up each time."""
    line = document.add_paragraph()
    line._p.style = style.replace(" ", "")
    return line


def _key(document: Document, key: KeyAnswer) -> None:
    _write(_line(document, "Heading 1"), key.headline)
    style = "List Bullet" if len(key.sentences) > 1 else "Normal"
    for text in key.sentences:
        _write(_line(document, style), text)
    _write(document.add_paragraph(), key.basis)
    for step in key.steps:
        _write(document.add_paragraph(), step, bold=True)


def _block(document: Document, block: Block) -> None:
    if isinstance(block, Paragraph):
        _write(document.add_paragraph(), block.text)
    elif isinstance(block, Bullets):
        for item in block.items:
            _write(_line(document, "List Bullet"), item)
    elif isinstance(block, Table):
        _table(document, block)
    elif isinstance(block, Figure):
        _figure(document, block)
    elif isinstance(block, Caution):
        _caution(document, block)
    elif isinstance(block, Details):
        _write(_line(document, "Heading 2"), block.summary)
        for inner in block.blocks:
            _block(document, inner)
    else:
        _key(document, block)


def _table(document: Document, table: Table) -> None:
    from docx.shared import Mm

    caption = _line(document, "Caption")
    caption.paragraph_format.keep_with_next = True
    _write(caption, table.caption)
    made = document.add_table(rows=1 + len(table.rows), cols=len(table.columns))
    made.autofit = False
    widths = [Mm(one) for one in column_widths((table.columns, *table.rows))]
    for column, width in zip(made.columns, widths, strict=True):
        column.width = width
    points = 7 if len(table.columns) > _MANY_COLUMNS else 9
    for line, row in zip(made.rows, (table.columns, *table.rows), strict=True):
        # The list of cells is built anew each time it is asked for: once a row.
        for place, (cell, text) in enumerate(zip(line.cells, row, strict=True)):
            head, cell.width = line is made.rows[0], widths[place]
            _cell(cell, text, points, bold=head or place == 0, right=table.numeric[place])
    rule_table(made)
    document.add_paragraph()


def _cell(cell: _Cell, text: str, points: int, *, bold: bool, right: bool) -> None:
    from docx.enum.text import WD_ALIGN_PARAGRAPH
    from docx.shared import Pt

    line = cell.paragraphs[0]
    line.paragraph_format.space_after = Pt(0)
    if right:
        line.alignment = WD_ALIGN_PARAGRAPH.RIGHT
    _write(line, text, bold=bold, points=points)


def _figure(document: Document, figure: Figure) -> None:
    from docx.shared import Mm

    line = document.add_paragraph()
    line.paragraph_format.keep_with_next = True
    picture = line.add_run().add_picture(io.BytesIO(figure.png), width=Mm(_PICTURE_MM))
    facts = picture._inline.docPr
    facts.set("name", figure.name)
    facts.set("title", _fit(figure.title))
    facts.set("descr", _fit(f"{figure.title} {figure.alt}"))
    _write(_line(document, "Caption"), figure.caption)


def _caution(document: Document, caution: Caution) -> None:
    line = document.add_paragraph()
    _write(line, f"{caution.title}.", bold=True)
    _write(line, f" {caution.text}")
    frame(line)


def _write(
    line: Line, text: str, *, bold: bool = False, italic: bool = False, points: int = 0
) -> None:
    """Write text as runs; what is isolated for its direction gets a run of that direction."""
    from docx.shared import Pt

    for place, part in enumerate(_ISOLATED.split(tied(_fit(text)))):
        if not part:
            continue
        run = line.add_run(part)
        run.bold, run.italic = bold or None, italic or None
        if points:
            run.font.size = Pt(points)
        # Every second part stood between the two signs of an isolate.
        if place % 2:
            run.font.rtl = True


def _fit(text: str) -> str:
    return " ".join(_UNFIT.sub("", text).split(" "))


def _packed(document: Document) -> bytes:
    """Pack the parts in the order of their names, without the time of day."""
    loose, packed = io.BytesIO(), io.BytesIO()
    document.save(loose)
    with (
        zipfile.ZipFile(loose) as parts,
        zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as whole,
    ):
        for name in sorted(parts.namelist()):
            entry = zipfile.ZipInfo(name, date_time=_DAY)
            entry.compress_type = (
                zipfile.ZIP_STORED if name.endswith(".png") else (zipfile.ZIP_DEFLATED)
            )
            entry.create_system = 0
            whole.writestr(entry, parts.read(name))
    return packed.getvalue()

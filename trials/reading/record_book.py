"""The record book ``records.xlsx``: one row a unit, ready to be filled in.

Nothing that a grower typed can become a formula: every text is written as text, and a leading
sign is kept from being read as one by the quote prefix of the format (ISO/IEC 29500-1, 18.8.45).
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from trials.layout import Layout, Slot
from trials.problems import Problem, Problems
from trials.reading.columns import FATE_WORDS, SEEN_WORDS, Column, bag_columns
from trials.trial import Trial

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.cell.cell import Cell
    from openpyxl.worksheet.worksheet import Worksheet

__all__ = ["make_record_book"]

SHEET = "bags"
HELP_SHEET = "what goes where"
_WIDTHS = {"code": 9, "text": 16, "fate": 15, "date": 13, "weight": 12, "count": 9}
_NAME_WIDTH, _MEANING_WIDTH, _LINE_HEIGHT = 20, 80, 15
_HEADING_FILL = "FFE7E3D6"
_GIVEN_FILL = "FFF4F2EA"


def make_record_book(trial: Trial, layout: Layout) -> bytes:
    """Make the record book of a drawn trial.

    Parameters
    ----------
    trial : Trial
    layout : Layout

    Returns
    -------
    bytes
        The content of an .xlsx file. Headings and given columns are locked (without password),
        fates have a drop-down list, a second sheet explains every column.
    """
    import openpyxl

    book = openpyxl.Workbook()
    book.properties.creator = "pinset"
    book.properties.title = trial.title
    sheet = book.active
    assert sheet is not None
    sheet.title = SHEET
    columns = bag_columns(trial)
    _write_headings(sheet, columns, trial)
    for row, slot in enumerate(layout.slots, start=2):
        _write_row(sheet, row, slot, columns)
    _add_lists(sheet, columns, len(layout.slots) + 1)
    _protect(sheet, columns)
    _explain(book.create_sheet(HELP_SHEET), columns, trial)
    return _saved(book)


def _saved(book: Workbook) -> bytes:
    from lxml.etree import LxmlError  # type: ignore[import-untyped]

    out = io.BytesIO()
    try:
        book.save(out)  # by way of temporary files, which need room
    except (OSError, LxmlError) as error:
        what = f"cannot be made: no temporary file could be written ({error})"
        mend = "Make room on the disk and run the same command again."
        raise Problems([Problem(file="records.xlsx", what=what, mend=mend)]) from error
    return out.getvalue()


def _put(cell: Cell, text: str | int) -> None:
    """Write a value that can never be taken for a formula."""
    cell.value = text
    if isinstance(text, str):
        cell.data_type = "s"
        cell.quotePrefix = text[:1] in "=+-@\t\r"


def _write_headings(sheet: Worksheet, columns: tuple[Column, ...], trial: Trial) -> None:
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.utils import get_column_letter

    for place, column in enumerate(columns, start=1):
        cell: Any = sheet.cell(row=1, column=place)
        _put(cell, column.titled(trial.weights))
        cell.font = Font(bold=True)
        cell.fill = PatternFill("solid", fgColor=_HEADING_FILL)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        sheet.column_dimensions[get_column_letter(place)].width = _WIDTHS[column.kind]
    sheet.freeze_panes = "B2"
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation = "landscape"
    sheet.row_dimensions[1].height = 2 * _LINE_HEIGHT
    _fit_width(sheet)


def _fit_width(sheet: Worksheet) -> None:
    """Print all columns on one page."""
    from openpyxl.worksheet.properties import PageSetupProperties

    sheet.page_setup.fitToWidth = 1
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)


def _write_row(sheet: Worksheet, row: int, slot: Slot, columns: tuple[Column, ...]) -> None:
    from openpyxl.styles import PatternFill, Protection

    given: dict[str, str | int] = {
        "code": slot.code,
        "treatment": slot.treatment,
        "block": slot.block,
        "place": slot.position,
        "batch": slot.batch,
        "column": slot.column,
    }
    shaded, unlocked = PatternFill("solid", fgColor=_GIVEN_FILL), Protection(locked=False)
    for place, column in enumerate(columns, start=1):
        cell: Any = sheet.cell(row=row, column=place)
        if column.given:
            _put(cell, given[column.heading])
            cell.fill = shaded
            continue
        cell.protection = unlocked
        if column.kind == "date":
            cell.number_format = "yyyy-mm-dd"


def _add_lists(sheet: Worksheet, columns: tuple[Column, ...], last_row: int) -> None:
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    for place, column in enumerate(columns, start=1):
        span = f"{get_column_letter(place)}2:{get_column_letter(place)}{last_row}"
        rule: DataValidation | None = None
        if column.kind == "fate":
            rule = DataValidation(type="list", formula1=f'"{",".join(FATE_WORDS)}"')
            rule.error = "Choose one from the list."
        elif column.heading == "seen":
            rule = DataValidation(type="list", formula1=f'"{",".join(SEEN_WORDS)}"')
            rule.showErrorMessage = False
        elif column.kind == "date":
            rule = DataValidation(type="date", operator="greaterThan", formula1="36526")
            rule.error = "A day, such as 2026-03-02."
        elif column.kind == "weight":
            # Text such as 12 oz is read too, so that a number is asked for and not forced.
            rule = DataValidation(type="decimal", operator="greaterThanOrEqual", formula1="0")
            rule.errorStyle = "warning"
            rule.error = "Usually a number here. Keep what you wrote?"
        if rule is not None:
            rule.allow_blank = True
            if column.heading != "seen":
                rule.showErrorMessage = True
            rule.add(span)
            sheet.add_data_validation(rule)


def _protect(sheet: Worksheet, columns: tuple[Column, ...]) -> None:
    from openpyxl.utils import get_column_letter

    sheet.protection.sheet = True
    sheet.protection.formatColumns = False
    sheet.protection.formatRows = False
    sheet.protection.formatCells = False
    sheet.protection.sort = False
    sheet.protection.autoFilter = False
    last = get_column_letter(len(columns))
    sheet.auto_filter.ref = f"A1:{last}{sheet.max_row}"


def _explain(sheet: Worksheet, columns: tuple[Column, ...], trial: Trial) -> None:
    from openpyxl.styles import Alignment, Font

    wide: Any = Alignment(wrap_text=True, vertical="top")
    lines: list[tuple[str, str]] = [(trial.title, "")]
    if trial.invented:
        lines.append(("Invented data", "A made-up trial, to show how it is done."))
    lines += [
        ("0 or blank", "0 means: looked, and there was nothing. Blank means: not weighed."),
        ("days", "Write year, month and day, such as 2026-03-02."),
        ("weights", f"A bare number is in {trial.weights}. You may write 1.5 kg or 12 oz."),
        ("losses", f"A lost {trial.unit} keeps its row: write its fate and the day."),
        ("", ""),
        ("column", "what goes there"),
        *((column.titled(trial.weights), column.meaning) for column in columns),
        ("", ""),
        (
            "care",
            "Mould: close the bag, take it outside, do not sniff it, do not eat any of it. "
            "Pick before caps flatten and air the room: spores harm the lungs. "
            "Follow your local rules and ask a qualified person.",
        ),
    ]
    for row, (left, right) in enumerate(lines, start=1):
        for place, text in enumerate((left, right), start=1):
            cell: Any = sheet.cell(row=row, column=place)
            _put(cell, text)
            cell.alignment = wide
            cell.font = Font(bold=place == 1)
        # Not every program makes room for wrapped text by itself.
        needed = max(-(-len(left) // _NAME_WIDTH), -(-len(right) // _MEANING_WIDTH), 1)
        sheet.row_dimensions[row].height = _LINE_HEIGHT * needed
    sheet.column_dimensions["A"].width = _NAME_WIDTH + 4
    sheet.column_dimensions["B"].width = _MEANING_WIDTH + 10
    _fit_width(sheet)
    sheet.protection.sheet = True

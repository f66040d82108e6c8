"""Ways in which a workbook can be spoiled: its bytes, its parts, and what stands in its cells."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from collections.abc import Callable

import numpy as np
import openpyxl
from openpyxl.worksheet.worksheet import Worksheet

from tests.spoiled.plans import Spoiler, beheaded, emptied, flipped, noise, truncated
from tests.spoiled.tables import CELLS

SHEET = "xl/worksheets/sheet1.xml"

VALUES = (
    *(one for one in CELLS if "\x00" not in one and "\x1b" not in one and len(one) < 32_000),
    46083, 46083.75, -1, 0, 1e300, -1e300, 2**70, True, False, dt.date(2026, 3, 2),
    dt.datetime(1900, 1, 1), dt.datetime(2026, 3, 2, 13, 5), dt.time(7, 30),
    dt.timedelta(hours=30), "=1+1", "=A1", '=HYPERLINK("http://example.org","x")', "=1/0",
    "=cmd|'/c calc'!A0", "=SUM(A1:A9)",
)  # fmt: skip


def _parts(raw: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _packed(parts: dict[str, bytes], how: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", how) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def _in_sheet(change: Callable[[Worksheet, np.random.Generator], None]) -> Spoiler:
    def spoil(raw: bytes, rng: np.random.Generator) -> bytes:
        book = openpyxl.load_workbook(io.BytesIO(raw))
        change(book["bags"], rng)
        out = io.BytesIO()
        book.save(out)
        return out.getvalue()

    return spoil


def _in_part(change: Callable[[bytes, np.random.Generator], bytes], *names: str) -> Spoiler:
    def spoil(raw: bytes, rng: np.random.Generator) -> bytes:
        parts = _parts(raw)
        among = [name for name in names if name in parts] or list(parts)
        name = among[int(rng.integers(len(among)))]
        parts[name] = change(parts[name], rng)
        return _packed(parts)

    return spoil


def _somewhere(sheet: Worksheet, rng: np.random.Generator) -> tuple[int, int]:
    return int(rng.integers(1, sheet.max_row + 1)), int(rng.integers(1, sheet.max_column + 1))


def strange_values(sheet: Worksheet, rng: np.random.Generator) -> None:
    for _ in range(int(rng.integers(1, 6))):
        row, column = _somewhere(sheet, rng)
        sheet.cell(row, column).value = VALUES[int(rng.integers(len(VALUES)))]


def merged_cells(sheet: Worksheet, rng: np.random.Generator) -> None:
    row, column = _somewhere(sheet, rng)
    sheet.merge_cells(
        start_row=row, start_column=column,
        end_row=row + int(rng.integers(4)), end_column=column + int(rng.integers(1, 4)),
    )  # fmt: skip


def rows_deleted(sheet: Worksheet, rng: np.random.Generator) -> None:
    sheet.delete_rows(int(rng.integers(1, sheet.max_row)), int(rng.integers(1, 5)))


def columns_deleted(sheet: Worksheet, rng: np.random.Generator) -> None:
    sheet.delete_cols(int(rng.integers(1, sheet.max_column)), int(rng.integers(1, 3)))


def rows_put_in(sheet: Worksheet, rng: np.random.Generator) -> None:
    sheet.insert_rows(int(rng.integers(1, 6)), int(rng.integers(1, 4)))


def rows_twice(sheet: Worksheet, rng: np.random.Generator) -> None:
    row = int(rng.integers(1, sheet.max_row))
    sheet.append([cell.value for cell in sheet[row]])


def headings_changed(sheet: Worksheet, rng: np.random.Generator) -> None:
    for _ in range(3):
        column = int(rng.integers(1, sheet.max_column + 1))
        one = sheet.cell(1, column)
        text = str(one.value or "x")
        changes = (text.upper(), text + " (oz)", text[:-1], f"  {text}_", text * 30, 5, None,
                   dt.date(2026, 3, 2), "flush 11", "=A2", "()" * 50)  # fmt: skip
        one.value = changes[int(rng.integers(len(changes)))]


def dates_as_text(sheet: Worksheet, rng: np.random.Generator) -> None:
    forms = ("%d/%m/%Y", "%m/%d/%y", "%d.%m.%Y", "%B %d, %Y", "%d %b %Y", "%Y%m%d", "%Y-%m-%dT%H")
    form = forms[int(rng.integers(len(forms)))]
    for row in sheet.iter_rows(min_row=2):
        for cell in row:
            if isinstance(cell.value, dt.datetime):
                cell.value = cell.value.strftime(form)


def sheet_renamed(sheet: Worksheet, rng: np.random.Generator) -> None:
    sheet.title = ("Bags ", "bag", "Sheet1", "BAGS", "שקיות")[int(rng.integers(5))]


def far_cell(sheet: Worksheet, rng: np.random.Generator) -> None:
    places = ((1_048_576, 16_384), (1_048_576, 1), (2, 16_384), (500_000, 900), (1, 401))
    row, column = places[int(rng.integers(len(places)))]
    sheet.cell(row, column).value = ("x", 1, " ")[int(rng.integers(3))]


def years_from_1904(raw: bytes, _: np.random.Generator) -> bytes:
    """Say that days count from 1904 without moving them: 4 years and a day too late."""
    parts = _parts(raw)
    text = parts["xl/workbook.xml"]
    parts["xl/workbook.xml"] = re.sub(rb"<workbookPr[^>]*/>", b'<workbookPr date1904="1"/>', text)
    return _packed(parts)


def part_missing(raw: bytes, rng: np.random.Generator) -> bytes:
    parts = _parts(raw)
    del parts[list(parts)[int(rng.integers(len(parts)))]]
    return _packed(parts)


def renumbered(raw: bytes, rng: np.random.Generator) -> bytes:
    """Give a row or a cell a number that no spreadsheet has."""
    parts = _parts(raw)
    numbers = (b"99999999999", b"0", b"-1", b"x", b"1048577", b"3000000")
    number = numbers[int(rng.integers(len(numbers)))]
    if rng.random() < 0.5:
        text = re.sub(rb'<row r="3"', b'<row r="' + number + b'"', parts[SHEET], count=1)
    else:
        cells = (b"ZZZ3", b"AAAAAA3", b"A" + number, b"3A", b"")
        cell = cells[int(rng.integers(len(cells)))]
        text = re.sub(rb'<c r="B3"', b'<c r="' + cell + b'"', parts[SHEET], count=1)
    parts[SHEET] = text
    return _packed(parts)


def entities(raw: bytes, rng: np.random.Generator) -> bytes:
    """Put in names that stand for ever more names, or for a file or an address elsewhere."""
    parts = _parts(raw)
    laughs = b"".join(
        b'<!ENTITY l%d "%s">' % (n, b"&l%d;" % (n - 1) * 10 if n else b"ha") for n in range(10)
    )
    inner = (laughs, b'<!ENTITY l9 SYSTEM "file:///etc/passwd">',
             b'<!ENTITY l9 SYSTEM "http://127.0.0.1:9/x">')[int(rng.integers(3))]  # fmt: skip
    names = [SHEET, "xl/workbook.xml", "xl/styles.xml", "[Content_Types].xml"]
    if "xl/sharedStrings.xml" in parts:
        names.append("xl/sharedStrings.xml")
    name = names[int(rng.integers(len(names)))]
    text = re.sub(rb"<\?xml[^>]*\?>", b"", parts[name])
    text = text.replace(b"</", b"&l9;</", 1) if rng.random() < 0.7 else text
    parts[name] = b'<?xml version="1.0"?><!DOCTYPE x [' + inner + b"]>" + text
    return _packed(parts)


def swollen(raw: bytes, rng: np.random.Generator) -> bytes:
    """Pack a great deal of nothing into a part."""
    parts = _parts(raw)
    much = b" " * int(rng.integers(30, 200)) * 1_000_000
    if rng.random() < 0.5:
        parts["xl/media/image1.png"] = much
    else:
        parts[SHEET] = parts[SHEET].replace(b"</sheetData>", much + b"</sheetData>")
    return _packed(parts)


def with_macros(raw: bytes, rng: np.random.Generator) -> bytes:
    parts = _parts(raw)
    parts["xl/vbaProject.bin"] = rng.bytes(2000)
    kind = b"application/vnd.ms-excel.sheet.macroEnabled.main+xml"
    plain = b"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"
    parts["[Content_Types].xml"] = parts["[Content_Types].xml"].replace(plain, kind)
    return _packed(parts)


def with_links_outside(raw: bytes, rng: np.random.Generator) -> bytes:
    parts = _parts(raw)
    target = (b"http://127.0.0.1:9/x", b"file:///etc/passwd", b"../../../x")[int(rng.integers(3))]
    parts["xl/_rels/workbook.xml.rels"] = parts["xl/_rels/workbook.xml.rels"].replace(
        b"</Relationships>",
        b'<Relationship Id="rIdX" Type="http://schemas.openxmlformats.org/officeDocument/2006/'
        b'relationships/externalLink" Target="' + target + b'" TargetMode="External"/>'
        b"</Relationships>",
    )  # fmt: skip
    return _packed(parts)


def climbing_names(raw: bytes, rng: np.random.Generator) -> bytes:
    parts = _parts(raw)
    for name in ("../../climbed.txt", "/climbed.txt", "xl/../../climbed.txt", "xl\\..\\climbed"):
        parts[name] = b"climbed"
    rels = parts["xl/_rels/workbook.xml.rels"]
    if rng.random() < 0.5:
        rels = rels.replace(b"worksheets/sheet1.xml", b"../../../climbed.txt")
    parts["xl/_rels/workbook.xml.rels"] = rels
    return _packed(parts)


def other_packing(raw: bytes, rng: np.random.Generator) -> bytes:
    ways = (zipfile.ZIP_STORED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)
    return _packed(_parts(raw), ways[int(rng.integers(3))])


def said_encrypted(raw: bytes, rng: np.random.Generator) -> bytes:
    """Set the mark for an encrypted part, or give the older wrapping of a locked workbook."""
    if rng.random() < 0.5:
        return b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + rng.bytes(6000)
    changed = bytearray(raw)
    for found in re.finditer(rb"PK\x01\x02", raw):
        changed[found.start() + 8] |= 1
    return bytes(changed)


def another_kind(_: bytes, rng: np.random.Generator) -> bytes:
    kinds = (b"%PDF-1.7\n", b"<html><table><tr><td>code</td></tr></table></html>", b"code,fate\n",
             b'<?xml version="1.0"?><Workbook/>', b"{\\rtf1}", b"\x89PNG\r\n\x1a\n", _packed({}),
             _packed({"mimetype": b"application/vnd.oasis.opendocument.spreadsheet"}))  # fmt: skip
    return kinds[int(rng.integers(len(kinds)))]


BOOK_SPOILERS: dict[str, Spoiler] = {
    "truncated": truncated, "beheaded": beheaded, "bytes flipped": flipped, "empty": emptied,
    "noise": noise, "strange values": _in_sheet(strange_values),
    "merged cells": _in_sheet(merged_cells), "rows deleted": _in_sheet(rows_deleted),
    "columns deleted": _in_sheet(columns_deleted), "rows put in": _in_sheet(rows_put_in),
    "a row twice": _in_sheet(rows_twice), "headings changed": _in_sheet(headings_changed),
    "dates as text": _in_sheet(dates_as_text), "the sheet renamed": _in_sheet(sheet_renamed),
    "a cell far out": _in_sheet(far_cell), "days counted from 1904": years_from_1904,
    "a part missing": part_missing, "a part truncated": _in_part(truncated),
    "a part with other bytes": _in_part(flipped), "the sheet with other bytes":
    _in_part(flipped, SHEET), "impossible numbers of rows": renumbered, "entities": entities,
    "swollen": swollen, "macros": with_macros, "links outside": with_links_outside,
    "names that climb": climbing_names, "packed otherwise": other_packing,
    "encrypted": said_encrypted, "a file of another kind": another_kind,
}  # fmt: skip

"""The demo folder spoiled in many ways: a clear problem, exit 1, nothing of the grower touched."""

from __future__ import annotations

import hashlib
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from pinset.cli import main
from pinset.demos import demo_folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    copy = tmp_path / "trial"
    shutil.copytree(demo_folder() / "mixes", copy)
    return copy


def fingerprints(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def plan(old: str, new: str) -> Callable[[Path], None]:
    def spoil(folder: Path) -> None:
        text = (folder / "trial.toml").read_text(encoding="utf-8")
        assert old in text
        (folder / "trial.toml").write_text(text.replace(old, new, 1), encoding="utf-8")

    return spoil


def layout(old: str, new: str) -> Callable[[Path], None]:
    def spoil(folder: Path) -> None:
        text = (folder / "layout.csv").read_text(encoding="utf-8")
        assert old in text
        (folder / "layout.csv").write_text(text.replace(old, new, 1), encoding="utf-8")

    return spoil


def cell(heading: str, value: object, row: int = 2) -> Callable[[Path], None]:
    def spoil(folder: Path) -> None:
        book = openpyxl.load_workbook(folder / "records.xlsx")
        sheet = book["bags"]
        headings = [one.value for one in sheet[1]]
        sheet.cell(row=row, column=headings.index(heading) + 1).value = value
        book.save(folder / "records.xlsx")

    return spoil


def heading(old: str, new: str) -> Callable[[Path], None]:
    def spoil(folder: Path) -> None:
        book = openpyxl.load_workbook(folder / "records.xlsx")
        row = book["bags"][1]
        next(one for one in row if one.value == old).value = new
        book.save(folder / "records.xlsx")

    return spoil


def repeat_code(folder: Path) -> None:
    book = openpyxl.load_workbook(folder / "records.xlsx")
    book["bags"]["A6"].value = book["bags"]["A5"].value
    book.save(folder / "records.xlsx")


def slip_of_the_pen(folder: Path) -> None:
    book = openpyxl.load_workbook(folder / "records.xlsx")
    code = book["bags"]["A5"].value
    book["bags"]["A5"].value = code[:-1] + ("7" if code[-1] != "7" else "8")
    book.save(folder / "records.xlsx")


def without_row(folder: Path) -> None:
    book = openpyxl.load_workbook(folder / "records.xlsx")
    book["bags"].delete_rows(7)
    book.save(folder / "records.xlsx")


def rename_sheet(folder: Path) -> None:
    book = openpyxl.load_workbook(folder / "records.xlsx")
    book["bags"].title = "march"
    book.save(folder / "records.xlsx")


def truncate_book(folder: Path) -> None:
    raw = (folder / "records.xlsx").read_bytes()
    (folder / "records.xlsx").write_bytes(raw[: len(raw) // 2])


def empty_archive(folder: Path) -> None:
    with zipfile.ZipFile(folder / "records.xlsx", "w") as archive:
        archive.writestr("nothing.txt", "nothing")


def no_records(folder: Path) -> None:
    (folder / "records.xlsx").unlink()


def second_place(folder: Path) -> None:
    (folder / "bags.csv").write_text("code,fate\n", encoding="utf-8")


def broken_lock(folder: Path) -> None:
    text = (folder / "plan.lock").read_text(encoding="utf-8")
    (folder / "plan.lock").write_text(text.replace('"seed": 417', '"seed": 418'), encoding="utf-8")


def no_layout(folder: Path) -> None:
    (folder / "layout.csv").unlink()


def bytes_for_plan(folder: Path) -> None:
    (folder / "trial.toml").write_bytes(b"\xff\xfe\x00title")


SPOILED: dict[str, tuple[Callable[[Path], None], str]] = {
    "a misspelt layout": (plan("complete blocks", "complet blocks"), "Did you mean “complete"),
    "a misspelt key": (plan("flushes = 3", "flushs = 3"), "Did you mean “flushes”?"),
    "no control": (plan("control = true", ""), "exactly one treatment"),
    "a date in quotes": (plan("start = 2026-03-02", 'start = "2.3.26"'), "without quotes"),
    "a worthwhile without unit": (plan('"10 %"', '"10"'), "“15 %” of the control"),
    "an open quote": (plan('species = "grey oyster"', 'species = "grey oyster'), "TOML"),
    "a plan that is no text": (bytes_for_plan, "cannot be read"),
    "a design changed after the draw": (plan("blocks = 8", "blocks = 9"), "changed after the draw"),
    "a layout changed after the draw": (layout(",W,", ",G,"), "layout was changed after the draw"),
    "a layout with an unknown treatment": (layout(",W,", ",Q,"), "no treatment of the plan"),
    "a layout without its heading": (layout("code,", "kode,"), "has no column “code”"),
    "no layout": (no_layout, "there is no layout yet"),
    "a lock changed by hand": (broken_lock, "proves nothing"),
    "no records": (no_records, "there are no records"),
    "records in two places": (second_place, "both hold records"),
    "a damaged workbook": (truncate_book, "cannot be opened as a workbook"),
    "an archive that is no workbook": (empty_archive, "cannot be read as a workbook"),
    "a renamed sheet": (rename_sheet, "no sheet named “bags”"),
    "a code twice": (repeat_code, "already"),
    "a slip in a code": (slip_of_the_pen, "Most likely"),
    "a bag without a row": (without_row, "in the layout and not here"),
    "a missing column": (heading("flush 2 (g)", "second picking"), "no column “flush 2”"),
    "a misspelt heading": (heading("fate", "fatee"), "Did you mean “fate”?"),
    "an unknown fate": (cell("fate", "finnished"), "Did you mean “finished”?"),
    "a word for a weight": (cell("flush 1 (g)", "lots"), "is not a weight"),
    "a weight below nothing": (cell("flush 1 (g)", -40), "less than nothing"),
    "a weight with two readings": (cell("flush 1 (g)", "1,250"), "can be read as 1250 and"),
    "a date with two readings": (cell("spawned", "03/04/2026"), "can be read as 3 April and"),
    "a date with two figures for the year": (cell("spawned", "2.3.26"), "no year of four digits"),
    "a day that is not": (cell("spawned", "2026-02-30"), "there is no day"),
    "a flush before spawning": (cell("flush 1 date", "2026-02-01"), "is before spawning"),
    "flushes in the wrong order": (cell("flush 2 date", "2026-03-20"), "is before flush 1"),
    "a loss of a finished bag": (cell("lost on", "2026-04-01"), "the fate is “finished”"),
    "a formula for a weight": (cell("flush 1 (g)", "=200+50"), "formula without a result"),
}  # fmt: skip


def test_there_are_many_ways() -> None:
    assert len(SPOILED) >= 25


@pytest.mark.parametrize("name", SPOILED)
@pytest.mark.parametrize("command", ["check", "report"])
def test_spoiled(folder: Path, name: str, command: str, capsys: pytest.CaptureFixture) -> None:
    spoil, said = SPOILED[name]
    spoil(folder)
    before = fingerprints(folder)
    assert main([command, str(folder)]) == 1
    told = capsys.readouterr()
    assert said in told.err
    assert "Traceback" not in told.err
    assert told.out == ""
    assert fingerprints(folder) == before


def test_all_problems_come_at_once(folder: Path, capsys: pytest.CaptureFixture) -> None:
    for spoil in (
        cell("fate", "finnished", row=4),
        cell("flush 1 (g)", "lots", row=5),
        cell("spawned", "03/04/2026", row=6),
        heading("note", "notte"),
    ):
        spoil(folder)
    assert main(["check", str(folder)]) == 1
    told = capsys.readouterr().err
    for said in ("row 4", "row 5", "row 6", "“notte”"):
        assert said in told
    assert "things to mend" in told


def test_problems_for_a_machine(folder: Path, capsys: pytest.CaptureFixture) -> None:
    import json

    cell("fate", "finnished", row=4)(folder)
    assert main(["check", str(folder), "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert told["ok"] is False
    first = told["problems"][0]
    assert (first["file"], first["row"], first["column"]) == ("records.xlsx", 4, "fate")

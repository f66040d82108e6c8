"""Spoiled files that once went wrong, or that no chance would hit."""

from __future__ import annotations

import os
import re
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path
from unicodedata import normalize

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.spoiled.folders import analyse, check, copy_of, layout, told
from tests.spoiled.plans import STRANGE
from trials.plan_reader import tidy_text
from trials.problems import Problems
from trials.reading.cells import read_count, read_date, read_fate, read_weight
from trials.reading.tables import MOST_CELLS, read_csv
from trials.reading.workbook import read_sheet
from trials.toml_text import to_document
from trials.trial_file import check_trial

HEAD = "code,fate,flush 1,flush 2,flush 3\n"
Spoil = Callable[[Path], None]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return copy_of("mixes", tmp_path)


def said(folder: Path) -> str:
    return "\n".join(told(folder, check))


def write_bags(folder: Path, text: str) -> None:
    (folder / "records.xlsx").unlink()
    (folder / "bags.csv").write_text(text, encoding="utf-8")


def plan_of(folder: Path) -> str:
    return (folder / "trial.toml").read_text(encoding="utf-8")


KEYS = ("flushes", "seed", "price_per_kg", "blocks", "worthwhile", "confidence", "start", "title",
        "layout", "unit", "blind", "moisture_target", "control", "code", "recipe")  # fmt: skip
FEW_KEYS = ("flushes", "start", "blind", "worthwhile")


@pytest.mark.parametrize(
    "key", [one if one in FEW_KEYS else pytest.param(one, marks=pytest.mark.slow) for one in KEYS]
)
def test_no_value_of_a_key_trips_the_reader(folder: Path, key: str) -> None:
    whole = plan_of(folder)
    assert re.search(rf"^{key} = ", whole, re.MULTILINE)
    for value in STRANGE:
        line = f"{key} = {value}"
        text = re.sub(rf"^{key} = [^\n#]+", lambda _, line=line: line, whole, count=1, flags=re.M)
        (folder / "trial.toml").write_text(text, encoding="utf-8", errors="surrogatepass")
        told(folder, layout)
        told(folder, check)


@pytest.mark.parametrize(
    ("added", "expected"),
    [
        ("a." * 100_000 + "a = 1\n", "too many parts"),
        ("x = " + "[" * 50_000, "too deeply nested"),
        ("x = " + "9" * 5000, "too many digits"),
        ("".join(f"k{n} = 1\n" for n in range(20_000)), "more words here"),
        ('note = "' + "." * 400 + '"\n', "not a word of the plan"),
        ("[[treatments]]\n" * 15_000, "at most 100"),
        ("".join(f"[recipes.r{n}]\n" for n in range(9000)), ""),
    ],
    ids=["dots", "nested", "digits", "keys", "dots in a text", "treatments", "recipes"],
)
def test_a_plan_made_to_last(folder: Path, added: str, expected: str) -> None:
    before, design, after = plan_of(folder).partition("[design]")
    text = before + added + design + after if added.startswith("[[") else plan_of(folder) + added
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    assert expected in said(folder)


def test_a_plan_as_large_as_may_be_is_read_in_time() -> None:
    line = "a." * 199 + "a{} = 1\n"
    text = "".join(line.format(n) for n in range(900))
    assert len(text) < 400_000
    to_document(text, "trial.toml")


@given(st.text(max_size=300))
def test_any_text_for_a_plan_is_read_or_told(text: str) -> None:
    with pytest.raises(Problems) as raised:
        check_trial(text)
    assert all(one.what and one.mend for one in raised.value.problems)


ANY_CELL = st.one_of(
    st.text(max_size=60), st.integers(), st.floats(), st.booleans(), st.dates(), st.datetimes(),
    st.times(), st.timedeltas(), st.none(), st.sampled_from([10**400, -(10**400), 1e308]),
    st.from_regex(r"[0-9.,/ -]{1,12}( ?(g|kg|oz|lb|st))?", fullmatch=True),
)  # fmt: skip


@given(ANY_CELL)
def test_any_cell_is_read_or_told(cell: object) -> None:
    for reading in (read_weight(cell, "kg"), read_date(cell), read_count(cell), read_fate(cell)):
        assert reading.value is None or not reading.what
        assert bool(reading.what) == bool(reading.mend)
        assert len(reading.what) < 300
        assert reading.what.isprintable()


def test_a_day_shown_as_a_number_is_named() -> None:
    for cell in (46083, 46083.0, "46083"):
        assert "2026-03-02" in read_date(cell).mend


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (HEAD + "x," * 1000, "beyond what a table"),
        (",".join(f"h{n}" for n in range(50_000)), "beyond what a table"),
        ("code;fate;a" + "," * 100_000 + "\n", "beyond what a table"),
        (HEAD + "A2U,finished," + "9" * 130_000 + ",2,3\n", "is no code"),
        (HEAD + "M5D,finished," + "9" * 130_000 + ",2,3\n", "too many digits"),
        (HEAD + "XXXXX,finishe,lots,q,w\n" * 50_000, "nor were later rows"),
        (HEAD + 'M5D,finished,"1,2,3\nM79,finished,1,2,3\nM87,finished,1,2,3\n', "whole rows"),
        (HEAD + "x" * 140_000, "cannot be read as a table"),
    ],
    ids=["cells", "headings", "commas", "unknown", "digits", "bad rows", "open quote", "field"],
)
def test_a_text_table_made_to_last(folder: Path, text: str, expected: str) -> None:
    write_bags(folder, text)
    assert expected in said(folder)


def test_rows_are_numbered_as_a_spreadsheet_numbers_them(folder: Path) -> None:
    write_bags(folder, 'code,fate,note\nM5D,finished,"two\nlines"\n\nNOPE,finished,\n')
    assert "row 4" in said(folder)


def test_a_swallowed_picking_is_never_silent(tmp_path: Path) -> None:
    folder = copy_of("flushes", tmp_path)
    lines = (folder / "harvests.csv").read_text(encoding="utf-8").splitlines()
    width = lines[0].count(",")
    lines[2] = lines[2] + ',"a large cluster' if lines[2].count(",") < width else (
        lines[2].rpartition(",")[0] + ',"a large cluster')  # fmt: skip
    (folder / "harvests.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert "quotation mark" in said(folder)


def test_a_table_of_too_many_cells_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bags.csv"
    path.write_text(("," * 399 + "1\n") * (MOST_CELLS // 400 + 1), encoding="utf-8")
    with pytest.raises(Problems, match="beyond what a table"):
        read_csv(path)


def test_a_table_not_in_utf_8_is_doubted(tmp_path: Path) -> None:
    folder = copy_of("flushes", tmp_path)
    path = folder / "bags.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    text = "\n".join([f"{head},remark by é", *(f"{row},é" for row in rows)]) + "\n"
    path.write_bytes(text.encode("cp1252"))
    from trials.records import read

    assert any("Windows-1252" in one.what for one in read(folder).doubts)


def test_a_table_that_breaks_off_is_doubted(tmp_path: Path) -> None:
    path = tmp_path / "harvests.csv"
    path.write_text("code,date,weight\nA2U,2026-03-01,120\nA2U,2026-04-", encoding="utf-8")
    assert [one.row for one in read_csv(path).problems] == [3]
    path.write_text("code,date,weight\nA2U,2026-03-01,120\nA2U,2026-04-02,1", encoding="utf-8")
    assert read_csv(path).problems == ()


def test_a_finished_bag_without_a_picking_is_doubted(tmp_path: Path) -> None:
    folder = copy_of("flushes", tmp_path)
    path = folder / "harvests.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines(keepends=True)
    code = rows[0].split(",")[0]
    path.write_text(head + "".join(row for row in rows if not row.startswith(code)), "utf-8")
    from trials.records import read

    assert any(code in one.what and "no picking" in one.what for one in read(folder).doubts)


@pytest.mark.parametrize("name", ["trial.toml", "layout.csv", "plan.lock", "records.xlsx"])
@pytest.mark.parametrize("kind", ["folder", "pipe", "loop", "nowhere", "endless"])
def test_what_is_no_file(folder: Path, name: str, kind: str) -> None:
    path = folder / name
    path.unlink()
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    else:
        path.symlink_to({"loop": name, "nowhere": "/nowhere/at/all", "endless": "/dev/zero"}[kind])
    if name == "plan.lock" and kind in ("loop", "nowhere"):
        assert said(folder) == ""  # as if there were none; that is a doubt
    else:
        assert name in said(folder)
    told(folder, layout)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root reads everything")
@pytest.mark.parametrize("name", ["trial.toml", "layout.csv", "plan.lock", "records.xlsx"])
def test_what_may_not_be_read(folder: Path, name: str) -> None:
    (folder / name).chmod(0)
    with pytest.raises(Problems, match="cannot be opened") as raised:
        check(folder)
    assert raised.value.problems[0].file == name
    (folder / name).chmod(0o600)


@pytest.mark.parametrize("name", ["trial.toml", "layout.csv", "plan.lock"])
def test_what_the_system_will_not_open(
    folder: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened, read_bytes, read_text = Path.open, Path.read_bytes, Path.read_text

    def refusing(inner):
        def call(path: Path, *args: object, **kwargs: object) -> object:
            if path.name == name:
                raise PermissionError(13, "Permission denied", str(path))
            return inner(path, *args, **kwargs)

        return call

    with monkeypatch.context() as patched:
        patched.setattr(Path, "open", refusing(opened))
        patched.setattr(Path, "read_bytes", refusing(read_bytes))
        patched.setattr(Path, "read_text", refusing(read_text))
        with pytest.raises(Problems, match="cannot be opened") as raised:
            check(folder)
    assert raised.value.problems[0].file == name


def in_sheet(folder: Path, change: Callable[[bytes], bytes]) -> None:
    path = folder / "records.xlsx"
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts["xl/worksheets/sheet1.xml"] = change(parts["xl/worksheets/sheet1.xml"])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)


def test_a_row_beyond_all_rows_does_not_hang(folder: Path) -> None:
    in_sheet(folder, lambda text: text.replace(b'<row r="3"', b'<row r="99999999999"'))
    assert "in the layout and not here" in said(folder)


def test_a_sheet_that_belies_its_own_size_is_read_whole(folder: Path) -> None:
    in_sheet(
        folder, lambda text: re.sub(rb'<dimension ref="[^"]*"', b'<dimension ref="A1:B2"', text)
    )
    assert said(folder) == ""


def test_a_far_cell_costs_little(folder: Path) -> None:
    book = openpyxl.load_workbook(folder / "records.xlsx")
    book["bags"].cell(1_048_576, 16_384).value = " "
    book.save(folder / "records.xlsx")
    table = read_sheet(folder / "records.xlsx", "bags")
    assert table is not None
    assert len(table.rows) == 48
    assert max(len(cells) for _, cells in table.rows) < 40


@pytest.mark.parametrize(
    ("cells", "expected", "weight"),
    [
        ({(5, 401): "x"}, "row 5: 400 columns are read, to OJ; beyond them cell OK5 holds some",
         "doubt"),
        ({(9, 401): 1, (7, 16_384): 2, (7, 500): "=1+1"}, "row 7: 400 columns are read, to OJ; "
         "beyond them 3 cells, from SF7, hold", "doubt"),
        ({(1, 450): "flush 9 (g)", (4, 450): 3}, "row 1: 400 columns are read, to OJ; beyond them "
         "2 cells, from QH1, hold something. Move that column to the left", "mistake"),
        ({(5, 401): " ", (6, 402): ""}, "", ""),
        ({(5, 400): "x"}, "", ""),
    ],
    ids=["one", "several", "a heading", "blanks", "the last that is read"],
)  # fmt: skip
def test_what_stands_beyond_the_columns_is_told(
    folder: Path, cells: dict[tuple[int, int], object], expected: str, weight: str
) -> None:
    book = openpyxl.load_workbook(folder / "records.xlsx")
    for place, value in cells.items():
        book["bags"].cell(*place).value = value
    book.save(folder / "records.xlsx")
    table = read_sheet(folder / "records.xlsx", "bags")
    assert table is not None
    found = [one for one in table.problems if "columns are read" in one.what]
    assert [one.weight for one in found] == [weight] * bool(weight)
    assert all(expected in str(one) for one in found)
    assert ("columns are read" in said(folder)) == (weight == "mistake")


@pytest.mark.slow
def test_cells_beyond_the_columns_are_not_counted_for_ever(folder: Path) -> None:
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("bags")
    for _ in range(12):
        sheet.append(["x"] * 10_000)
    book.save(folder / "records.xlsx")
    assert "row 11: more than 100,000 cells stand beyond column 400" in said(folder)


@pytest.mark.parametrize("megabytes", [30, 450])
def test_a_bomb_is_refused_before_it_is_opened(folder: Path, megabytes: int) -> None:
    with (
        zipfile.ZipFile(folder / "records.xlsx", "a", zipfile.ZIP_DEFLATED) as archive,
        archive.open("xl/media/image1.png", "w") as inside,
    ):
        for _ in range(megabytes):
            inside.write(b"\0" * 1_000_000)
    assert "swell beyond reason" in said(folder)


def test_names_that_swell_a_sheet_are_refused_before_they_do(folder: Path) -> None:
    """In a workbook of 30 kB, 90 MB: no more than Python's own reader lets through."""
    assert openpyxl.DEFUSEDXML
    path, sheet = folder / "records.xlsx", "xl/worksheets/sheet1.xml"
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    declared = b'<!DOCTYPE x [<!ENTITY q "%s">]>' % (b"x" * 100_000)
    first, rest = parts[sheet].split(b"<worksheet", 1)
    swelling = rest.replace(b"</t>", b"&q;" * 900 + b"</t>", 1)
    assert swelling != rest
    parts[sheet] = first + declared + b"<worksheet" + swelling
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
    assert path.stat().st_size < 60_000
    assert "records.xlsx" in said(folder)
    with pytest.raises(Problems):
        read_sheet(path, "bags")


def test_a_heap_of_accents_on_one_letter_is_cut_before_it_is_composed() -> None:
    """Thirty are kept: Unicode Standard Annex 15, section 13, Stream-Safe Text Format."""
    heap = "\N{COMBINING GRAVE ACCENT BELOW}\N{COMBINING ACUTE ACCENT}" * 100_000
    assert tidy_text("e" + heap + " oyster") == normalize("NFC", "e" + heap[:30]) + " oyster"


def test_a_workbook_locked_with_a_password_is_named(folder: Path) -> None:
    (folder / "records.xlsx").write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 5000)
    assert "password" in said(folder)


def test_names_that_climb_write_nothing_outside(tmp_path: Path) -> None:
    folder = copy_of("mixes", tmp_path / "inner")
    text = plan_of(folder).replace('recipe = "bran"', 'recipe = "../../bran"')
    text = text.replace("[recipes.bran]", '[recipes."../../bran"]')
    text = text.replace('block = "shelf"', 'block = "../../shelf"').replace('"W"', '"../W"')
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    for name in ("layout.csv", "plan.lock", "records.xlsx"):
        (folder / name).unlink()
    from pinset.cli import main

    assert main(["layout", str(folder)]) == 0
    assert main(["report", str(folder)]) in (0, 1)
    assert main(["size", str(folder)]) == 0
    assert [one.name for one in tmp_path.iterdir()] == ["inner"]
    assert [one.name for one in (tmp_path / "inner").iterdir()] == ["mixes"]


@pytest.mark.parametrize("name", ["report", "print", "size", "earlier"])
def test_a_link_out_of_the_folder_is_not_followed(tmp_path: Path, name: str) -> None:
    folder = copy_of("mixes", tmp_path)
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "report.html").write_text("the grower's own", encoding="utf-8")
    (folder / name).symlink_to(outside)
    command = {"report": ["report"], "print": ["layout", "--redraw"], "size": ["size"],
               "earlier": ["layout", "--redraw"]}[name]  # fmt: skip
    from pinset.cli import main

    assert main([command[0], str(folder), *command[1:]]) == 1
    assert [one.name for one in outside.iterdir()] == ["report.html"]
    assert (outside / "report.html").read_text(encoding="utf-8") == "the grower's own"
    assert (folder / "plan.lock").is_file()


def test_a_good_folder_is_read_after_all(folder: Path) -> None:
    assert told(folder, check) == ()
    assert told(folder, analyse) == ()
    shutil.rmtree(folder)

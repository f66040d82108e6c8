"""Slips of a busy hand: the message says what was most likely meant, and nothing is told twice."""

from __future__ import annotations

import shlex
from pathlib import Path

import openpyxl
import pytest

import pinset
from pinset.cli import main
from trials.reading.cells import read_date, read_fate, read_weight
from trials.starters import starter
from trials.toml_text import to_document
from trials.trial_file import check_trial


@pytest.mark.parametrize(
    ("cell", "mend"),
    [
        ("13 1/4", "Write it as 13.25."),
        ("3/4 oz", "Write it as 0.75 oz."),
        ("10.5 (small ones left)", "Write 10.5 alone, and the words into the column “note”."),
        ("12 oz, wet", "Write 12 oz alone, and the words into the column “note”."),
        ("nothing", "Write 0 if you looked and there was nothing"),
        ("lots", "such as 14.5 or 14.5 oz"),
        ("12 or 13", "Write one number, such as"),
        ("12 oz + 3 oz", "Write one number, such as"),
    ],
)
def test_a_weight_that_cannot_be_read_is_mended_in_its_own_words(cell: str, mend: str) -> None:
    reading = read_weight(cell, "oz")
    assert reading.value is None
    assert reading.mend.startswith(mend) or mend in reading.mend


@pytest.mark.parametrize("cell", ["April 5", "5 Apr", "Sept. 5th"])
def test_a_day_without_its_year_is_told_so(cell: str) -> None:
    told = read_date(cell)
    assert told.value is None
    assert "has no year" in told.what


@pytest.mark.parametrize(
    ("cell", "meant"),
    [("mould", "contaminated"), ("green patch", "contaminated"), ("dropped", "lost otherwise"),
     ("done", "finished"), ("finishd", "finished"), ("x", None), ("no mould", None),
     ("not done yet", None)],
)  # fmt: skip
def test_a_fate_in_own_words_is_asked_about_and_not_taken(cell: str, meant: str | None) -> None:
    reading = read_fate(cell)
    assert reading.value is None
    assert ("Did you mean" in reading.mend) == (meant is not None)
    assert meant is None or f"“{meant}”?" in reading.mend


@pytest.fixture
def drawn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    folder = tmp_path / "trial"
    assert main(["new", str(folder), "--seed", "7"]) == 0
    plan = folder / "trial.toml"
    plan.write_text(plan.read_text("utf-8").replace('weights = "g"', 'weights = "oz"'), "utf-8")
    assert main(["layout", str(folder)]) == 0
    capsys.readouterr()
    return folder


def _write(folder: Path, cells: dict[tuple[int, str], object]) -> None:
    book = openpyxl.load_workbook(folder / "records.xlsx")
    sheet = book["bags"]
    columns = {cell.value: cell.column for cell in sheet[1]}
    for (row, heading), value in cells.items():
        sheet.cell(row, columns[heading]).value = value  # type: ignore[union-attr]
    book.save(folder / "records.xlsx")


def _problems(folder: Path) -> tuple[pinset.Problem, ...]:
    with pytest.raises(pinset.Problems) as told:
        pinset.read(folder)
    return told.value.problems


def test_a_new_record_book_is_one_doubt(drawn: Path) -> None:
    records = pinset.read(drawn)
    assert len(records.doubts) == 1
    assert "and 27 more: nothing is written about their end" in records.doubts[0].what


def test_a_wrong_code_is_named_by_its_place_and_told_once(drawn: Path) -> None:
    book = openpyxl.load_workbook(drawn / "records.xlsx")
    right = book["bags"].cell(4, 1).value
    _write(drawn, {(4, "code"): "ZZZ"})
    (mistake,) = [one for one in _problems(drawn) if one.weight == "mistake"]
    assert (mistake.row, mistake.column) == (4, "code")
    assert mistake.mend.startswith(
        f"Most likely “{right}”, which was drawn for the place in this row"
    )


def test_what_cannot_be_read_is_not_told_as_blank(drawn: Path) -> None:
    weights: dict[tuple[int, str], object] = {(row, "flush 1 (oz)"): 12 for row in range(4, 12)}
    _write(drawn, weights | {
        (2, "fate"): "mould", (2, "lost on"): "2026-03-20", (2, "seen"): "green",
        (3, "flush 1 date"): "2026-04-05", (3, "flush 1 (oz)"): "12 1/4",
        (5, "flush 1 (oz)"): 130,
    })  # fmt: skip
    problems = _problems(drawn)
    assert sorted((one.row, one.column) for one in problems if one.weight == "mistake") == [
        (2, "fate"),
        (3, "flush 1 (oz)"),
    ]
    doubts = [one for one in problems if one.weight == "doubt"]
    assert not [one for one in doubts if one.row == 2]
    assert not [one for one in doubts if "a day and no weight" in one.what]
    (heavy,) = [one for one in doubts if one.row == 5 and "weighs" in one.what]
    assert "weighs 130 oz, and the middle of the trial is 12 oz" in heavy.what


@pytest.mark.parametrize(
    ("line", "mend"),
    [
        ("title = “Bran”", "Its quotes are bent"),
        ("start = 3/2/2026", "Write the day as year-month-day"),
        ("confidence = 0,95", "Write the number with a point"),
        ("flushes = two", "Look at that line"),
    ],
)
def test_a_line_of_the_plan_that_cannot_be_read_is_shown_and_mended(line: str, mend: str) -> None:
    with pytest.raises(pinset.Problems) as told:
        to_document(f"format = 1\n{line}  # a word\n", "trial.toml")
    (problem,) = told.value.problems
    assert "line 2, column" in problem.what
    assert line in problem.what
    assert problem.mend.startswith(mend)


def test_an_empty_record_book_is_not_sent_to_the_report(
    drawn: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(drawn)]) == 0
    assert "Next: write into the record book" in capsys.readouterr().out
    _write(drawn, {(2, "flush 1 (oz)"): 12})
    assert main(["check", str(drawn)]) == 0
    assert "Next: pinset report" in capsys.readouterr().out


def test_a_record_book_under_another_name_is_seen(drawn: Path) -> None:
    (drawn / "records.xlsx").rename(drawn / "my records.ods")
    (problem,) = _problems(drawn)
    assert problem.what.endswith("but my records.ods")
    assert "save it as records.xlsx" in problem.mend
    (drawn / "my records.ods").unlink()
    (problem,) = _problems(drawn)
    assert problem.mend.startswith("Draw the layout")


def test_a_unit_of_weight_may_be_spelled_out() -> None:
    text = starter("yield", folder="x", seed=1)
    assert check_trial(text.replace('weights = "g"', 'weights = "ounces"')).weights == "oz"
    with pytest.raises(pinset.Problems, match="“stone” is not known here"):
        check_trial(text.replace('weights = "g"', 'weights = "stone"'))


def test_a_folder_with_a_space_can_be_typed_as_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["check", "my trial"]) == 1
    said = capsys.readouterr().err
    for command in ("new", "layout", "check"):
        told = shlex.split(said[said.index(f"pinset {command}") :].splitlines()[0])
        assert told[:3] == ["pinset", command, "my trial"]
        assert main(told[1:3]) == 0
        said = capsys.readouterr().out
        said += 'pinset check "my trial"' if command == "layout" else ""
    assert '"my trial"' in (tmp_path / "my trial" / "trial.toml").read_text("utf-8")

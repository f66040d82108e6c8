"""Records: blank is not zero, nothing is lost, every problem is told at once."""

from __future__ import annotations

import io

import numpy as np
import openpyxl
import pytest

from tests.trials.folders import make_folder, write_bags
from tests.trials.plans import plan
from trials.problems import Problems
from trials.reading.harvest_rows import flush_numbers
from trials.reading.record_book import make_record_book
from trials.records import read

WIDE = ["code", "fate", "lost on", "flush 1 date", "flush 1 (g)", "flush 2 date", "flush 2 (g)"]


def problems_of(folder) -> list[str]:
    with pytest.raises(Problems) as caught:
        read(folder)
    return [str(one) for one in caught.value.problems]


def totals(folder) -> dict[str, float]:
    bags = read(folder).bags
    return dict(zip(bags["code"], bags["total_g"], strict=True))


def test_what_a_blank_means(tmp_path) -> None:
    layout = make_folder(tmp_path, plan(blocks=4, units=1))
    rows = [
        ["finished", "", "2026-04-01", 200, "2026-04-12", 100],  # whole
        ["finished", "", "2026-04-01", 200, "", ""],  # flush 2 missing
        ["finished", "", "", "", "2026-04-12", 100],  # flush 1 missing
        ["contaminated", "2026-03-10", "", "", "", ""],  # lost before anything: gives 0
        ["contaminated", "2026-04-05", "2026-04-01", 200, "", ""],  # lost after flush 1
        ["contaminated", "2026-05-01", "2026-04-01", 200, "", ""],  # lost after everyone's flush 2
        ["still going", "", "2026-04-01", 200, "", ""],
        ["finished", "", "2026-04-01", 0, "2026-04-12", 0],  # looked, nothing there
    ]
    write_bags(tmp_path, layout, WIDE, lambda number, slot: [slot.code, *rows[number]])
    records = read(tmp_path)
    total = records.bags["total_g"].to_numpy()
    np.testing.assert_array_equal(total, [300, np.nan, np.nan, 0, 200, np.nan, np.nan, 0])
    states = records.flushes["state"].to_numpy().reshape(8, 2).tolist()
    assert states == [
        ["weighed", "weighed"],
        ["weighed", "missing"],
        ["missing", "weighed"],
        ["after loss", "after loss"],
        ["weighed", "after loss"],
        ["weighed", "missing"],
        ["weighed", "not yet"],
        ["weighed", "weighed"],
    ]
    assert records.bags["missing_flushes"].tolist() == [0, 1, 1, 0, 0, 1, 0, 0]
    assert sum("blank, so its total is not known" in str(one) for one in records.doubts) == 3


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252"])
def test_text_tables_of_many_kinds(tmp_path, separator: str, encoding: str) -> None:
    layout = make_folder(tmp_path, plan(flushes=1))
    write_bags(
        tmp_path,
        layout,
        ["Code", "FATE", "Flush_1 [oz]", "note"],
        lambda number, slot: [slot.code.lower(), "Finished", "7,5", "süß – “gut” €"],
        separator=separator,
        encoding=encoding,
    )
    records = read(tmp_path)
    np.testing.assert_allclose(records.bags["total_g"], 7.5 * 28.349523125, rtol=1e-12)
    assert set(records.bags["note"]) == {"süß – “gut” €"}


def test_units_in_headings_and_cells(tmp_path) -> None:
    layout = make_folder(tmp_path, plan(flushes=1, blocks=2))
    cells = ["0,25", "250 g", "1 lb", "8.5 oz"]
    write_bags(
        tmp_path,
        layout,
        ["code", "fate", "flush 1 in kg"],
        lambda number, slot: [slot.code, "finished", cells[number]],
    )
    expected = [250, 250, 453.59237, 8.5 * 28.349523125]
    np.testing.assert_allclose(list(totals(tmp_path).values()), expected, rtol=1e-12)


def test_the_record_book_as_made_is_read(tmp_path) -> None:
    layout = make_folder(tmp_path, plan(), book=True)
    records = read(tmp_path)
    assert records.bags["code"].tolist() == list(layout.codes)
    assert set(records.bags["fate"]) == {"not recorded"}
    (doubt,) = records.doubts
    assert f"and {len(layout.slots) - 5} more: nothing is written about their end" in doubt.what


def test_the_record_book_filled_in_is_read(tmp_path) -> None:
    make_folder(tmp_path, plan(flushes=2), book=True)
    book = openpyxl.load_workbook(tmp_path / "records.xlsx")
    sheet = book["bags"]
    headings = [cell.value for cell in sheet[1]]
    for row in range(2, sheet.max_row + 1):
        for heading, value in {
            "fate": "finished",
            "flush 1 (g)": 200 + row,
            "flush 2 (g)": "0,1 kg",
            "flush 1 date": "2026-04-01",
        }.items():
            sheet.cell(row=row, column=headings.index(heading) + 1, value=value)
    sheet["H2"].value = None
    book.save(tmp_path / "records.xlsx")
    records = read(tmp_path)
    assert records.bags["total_g"].tolist() == [200 + row + 100 for row in range(2, 10)]


def test_nothing_typed_becomes_a_formula() -> None:
    from dataclasses import replace

    trial = plan(blocks=2)
    evil = '=HYPERLINK("http://example.invalid","x")'
    trial = replace(trial, title=evil, design=replace(trial.design, block="=1+1"))
    from trials.designs import draw

    book = openpyxl.load_workbook(io.BytesIO(make_record_book(trial, draw(trial))))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert any(cell.value == evil for cell in cells)
    assert all(cell.data_type != "f" for cell in cells)
    bags = book["bags"]
    assert bags.protection.sheet
    assert bags["A2"].protection.locked
    unlocked = [cell for cell in bags[2] if not cell.protection.locked]
    assert len(unlocked) == len(bags[2]) - 4
    assert any("finished" in rule.formula1 for rule in bags.data_validations.dataValidation)


def test_a_formula_counts_as_what_it_gave(tmp_path) -> None:
    """A workbook library leaves no results, so that a formula without one is told of."""
    make_folder(tmp_path, plan(flushes=1), book=True)
    book = openpyxl.load_workbook(tmp_path / "records.xlsx")
    sheet = book["bags"]
    place = [cell.value for cell in sheet[1]].index("flush 1 (g)") + 1
    sheet.cell(row=2, column=place, value="=120+35")
    book.save(tmp_path / "records.xlsx")
    told = problems_of(tmp_path)
    assert any("row 2" in one and "formula without a result" in one for one in told)


def test_pickings_are_gathered_into_flushes(tmp_path) -> None:
    layout = make_folder(tmp_path, plan(blocks=2, flushes=3))
    write_bags(
        tmp_path,
        layout,
        ["code", "fate"],
        lambda number, slot: [slot.code, "finished" if number else "contaminated"],
    )
    first, second, *_ = layout.codes
    lines = [
        "code,date,weight (g)",
        f"{second},2026-04-01,100",
        f"{second},2026-04-03,50",
        f"{second},2026-04-12,80",
        f"{first},2026-04-02,90",
        *(f"{code},2026-04-01,100" for code in layout.codes[2:]),
    ]
    (tmp_path / "harvests.csv").write_text("\n".join(lines))
    records = read(tmp_path)
    grams = records.flushes["grams"].to_numpy().reshape(4, 3)
    np.testing.assert_array_equal(grams[0], [90, np.nan, np.nan])
    np.testing.assert_array_equal(grams[1], [150, 80, np.nan])  # nobody picked a third flush
    assert records.flushes["state"].tolist()[3:6] == ["weighed", "weighed", "not picked"]
    np.testing.assert_array_equal(grams[2], [100, 0, np.nan])
    assert records.bags["total_g"].tolist()[:3] == [90, 230, 100]
    assert any("none after flush 2" in str(doubt) for doubt in records.doubts)
    assert records.sources == ("bags.csv", "harvests.csv")
    assert records.flushes.loc[3, "date"].isoformat() == "2026-04-03T00:00:00"


def test_flush_numbers_given_are_kept(tmp_path) -> None:
    layout = make_folder(tmp_path, plan(blocks=2, flushes=3))
    write_bags(tmp_path, layout, ["code", "fate"], lambda number, slot: [slot.code, "finished"])
    lines = ["code;weight;flush", *(f"{code};0,4 kg;2" for code in layout.codes)]
    (tmp_path / "harvests.csv").write_text("\n".join(lines))
    grams = read(tmp_path).flushes["grams"].to_numpy().reshape(4, 3)
    np.testing.assert_array_equal(grams, [[0, 400, np.nan]] * 4)


def test_problems_in_pickings_are_told_at_once(tmp_path) -> None:
    layout = make_folder(tmp_path, plan(blocks=2, flushes=2))
    write_bags(tmp_path, layout, ["code", "fate"], lambda number, slot: [slot.code, "finished"])
    one, two, *_ = layout.codes
    lines = [
        "code,date,weight,flush",
        "ZZZZ,2026-04-01,1,",
        f"{one},,50,",
        f"{one},2026-04-01,,",
        f"{two},2026-04-01,50,5",
        f"{two},2026-04-01,50,1",
        f"{two},2026-04-02,50,",
    ]
    (tmp_path / "harvests.csv").write_text("\n".join(lines))
    told = problems_of(tmp_path)
    for said in (
        "no code of this trial",
        "neither a day nor a flush",
        "column “weight”: is blank",
        "flush 5, and the plan has 2",
        "no flush number, and other pickings",
    ):
        assert any(said in one for one in told), said


def test_weights_in_two_places_are_refused(tmp_path) -> None:
    layout = make_folder(tmp_path, plan(flushes=1, blocks=2))
    write_bags(
        tmp_path,
        layout,
        ["code", "fate", "flush 1"],
        lambda number, slot: [slot.code, "finished", 100],
    )
    (tmp_path / "harvests.csv").write_text(f"code,date,weight\n{layout.codes[0]},2026-04-01,5\n")
    assert any("weights stand here and in harvests.csv" in one for one in problems_of(tmp_path))


def test_a_book_and_a_text_table_with_records_are_refused(tmp_path) -> None:
    layout = make_folder(tmp_path, plan(flushes=1, blocks=2), book=True)
    write_bags(
        tmp_path,
        layout,
        ["code", "fate", "flush 1"],
        lambda number, slot: [slot.code, "finished", 100],
    )
    assert read(tmp_path).sources == ("bags.csv",)
    book = openpyxl.load_workbook(tmp_path / "records.xlsx")
    book["bags"]["E2"] = "finished"
    book.save(tmp_path / "records.xlsx")
    assert any("both hold records" in one for one in problems_of(tmp_path))


def test_gaps_make_flushes() -> None:
    import datetime as dt

    days = [dt.date(2026, 5, day) for day in (1, 3, 7, 12, 13, 30)]
    assert flush_numbers(days, 5) == [1, 1, 1, 2, 2, 3]
    assert flush_numbers(days, 4) == [1, 1, 2, 3, 3, 4]
    assert flush_numbers([], 5) == []


def test_contamination_trial_needs_no_weights(tmp_path) -> None:
    aim = 'outcome = "contamination"\nclaim = "no worse"\nworthwhile = "5 in 100"'
    layout = make_folder(tmp_path, plan(aim=aim, flushes=1))
    write_bags(
        tmp_path,
        layout,
        ["code", "fate"],
        lambda number, slot: [slot.code, "contaminated" if number == 1 else "finished"],
    )
    records = read(tmp_path)
    assert (records.bags["fate"] == "contaminated").sum() == 1


def test_records_without_a_lock_are_told_as_doubtful(tmp_path) -> None:
    make_folder(tmp_path, plan(), book=True)
    (tmp_path / "plan.lock").unlink()
    assert any(one.file == "plan.lock" for one in read(tmp_path).doubts)

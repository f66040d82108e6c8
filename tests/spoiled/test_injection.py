"""Whatever a grower types stays text: on pages, in tables, in documents, on the terminal."""

from __future__ import annotations

import csv
import json
import re
import xml.etree.ElementTree as ET
import zipfile
from dataclasses import dataclass
from pathlib import Path

import openpyxl
import pytest

from pinset.cli import main
from tests.reports.page_reader import Page
from tests.spoiled.nasty import PAYLOADS, fill_in, nasty_plan

FORMULA = ("=", "+", "-", "@", "\t", "\r")
OBEYED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e]")
FEW, MANY = (0,), tuple(range(len(PAYLOADS)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    folder: Path
    printed: str


def make(place: Path, turn: int | None, capsys: pytest.CaptureFixture) -> Made:
    folder = place / ("tame" if turn is None else "<b>{{7*7}}'&$(x) \u202ebran")
    folder.mkdir(parents=True)
    (folder / "trial.toml").write_text(nasty_plan(turn), encoding="utf-8")
    printed = []
    for command in ("layout", "check", "analyse", "report", "size", "rehearse"):
        if command == "check":
            fill_in(folder, turn)
        words = [command, str(folder)] + (["--trials", "20"] if command == "rehearse" else [])
        code = main(words)
        told = capsys.readouterr()
        assert code == 0, (turn, command, told.err)
        printed.append(told.out + told.err)
    return Made(folder=folder, printed="\n".join(printed))


@pytest.fixture(scope="module")
def tame(tmp_path_factory: pytest.TempPathFactory) -> Path:
    class Unheard:
        @staticmethod
        def readouterr():
            return type("Told", (), {"out": "", "err": ""})

    return make(tmp_path_factory.mktemp("tame"), None, Unheard()).folder  # type: ignore[arg-type]


def kinds(page: Page) -> set[tuple[str, str]]:
    """Which elements there are, with which attributes."""
    return {(tag, name) for tag, attrs in page.elements for name in ("", *attrs)}


def assert_page_is_tame(path: Path, tame: Path) -> None:
    text = path.read_text(encoding="utf-8")
    page, like = Page(text), Page(tame.read_text(encoding="utf-8"))
    assert page.unclosed == []
    assert page.open == []
    assert kinds(page) <= kinds(like) | {("tspan", ""), ("tspan", "x"), ("tspan", "y")}, path.name
    assert not page.all("script")
    policy = [attrs for attrs in page.all("meta") if "http-equiv" in attrs]
    assert "default-src 'none'" in policy[0]["content"]
    assert "unsafe" not in policy[0]["content"]
    for tag, attrs in page.elements:
        for name, value in attrs.items():
            assert not name.startswith("on"), (tag, attrs)
            if name in ("href", "src", "xlink:href", "action"):
                assert (value or "").startswith(("#", "data:image/")), (tag, attrs)
    assert not OBEYED.search(text), path.name


def assert_svg_is_tame(path: Path) -> None:
    for element in ET.fromstring(path.read_text(encoding="utf-8")).iter():
        tag = str(element.tag).rpartition("}")[2]
        assert tag not in ("script", "style", "image", "foreignObject", "a", "x"), path.name
        assert not any(name.startswith("on") or ("href" in name and not value.startswith("#"))
                       for name, value in element.attrib.items())  # fmt: skip


def assert_book_is_tame(path: Path) -> None:
    with zipfile.ZipFile(path) as archive:
        for name in archive.namelist():
            assert "external" not in name.lower()
            assert b'TargetMode="External"' not in archive.read(name)
            assert b"<f>" not in archive.read(name)
    for sheet in openpyxl.load_workbook(path):
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type != "f", cell.coordinate
                if isinstance(cell.value, str) and cell.value.startswith(FORMULA):
                    assert cell.quotePrefix, cell.coordinate


def assert_table_is_tame(path: Path) -> None:
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.reader(file):
            assert not any(cell.startswith(FORMULA) for cell in row), row


def assert_document_is_tame(path: Path) -> None:
    with zipfile.ZipFile(path) as archive:
        for name in archive.namelist():
            content = archive.read(name)
            assert b'TargetMode="External"' not in content, name
            assert "vba" not in name.lower()
            if name.endswith((".xml", ".rels")):
                ET.fromstring(content)
            for field in re.findall(rb"<w:instrText[^>]*>([^<]*)<|w:instr=\"([^\"]*)\"", content):
                assert re.fullmatch(rb" *(PAGE|NUMPAGES)[ \\*A-Za-z]*", b"".join(field)), field
            if name == "word/document.xml":
                assert not OBEYED.search(content.decode("utf-8"))


def assert_markdown_is_tame(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert not OBEYED.search(text)
    bare = re.sub(r"\\[\\`*_{}\[\]<>#|~$&+=.)-]", "", text)
    assert not re.search(r"<|`|&|\{\{|\$\{|\]\((?!figures/[\w-]+\.png\))", bare), path.name


def assert_templates_are_not_filled(folder: Path, plan: str) -> None:
    """What looks like a template stands as it was typed, where a plan holds one."""
    everything = "".join(Page(one.read_text(encoding="utf-8")).text
                         for one in folder.rglob("*.html"))  # fmt: skip
    assert ("{{7*7}}" in everything) == ("{{7*7}}" in plan)
    assert "49 {%" not in everything


@pytest.mark.parametrize(
    "turn",
    [one if one in FEW else pytest.param(one, marks=pytest.mark.slow) for one in MANY],
)
def test_all_that_is_written_stays_text(
    tmp_path: Path, turn: int, tame: Path, capsys: pytest.CaptureFixture
) -> None:
    made = make(tmp_path, turn, capsys)
    assert_templates_are_not_filled(made.folder, nasty_plan(turn))
    pages = sorted(made.folder.rglob("*.html"))
    assert len(pages) >= 6
    for path in pages:
        assert_page_is_tame(path, tame / path.relative_to(made.folder))
    pictures = sorted(made.folder.rglob("*.svg"))
    assert pictures
    for path in pictures:
        assert_svg_is_tame(path)
    assert_book_is_tame(made.folder / "records.xlsx")
    assert_table_is_tame(made.folder / "layout.csv")
    assert_document_is_tame(made.folder / "report" / "report.docx")
    assert_markdown_is_tame(made.folder / "report" / "report.md")
    json.loads((made.folder / "report" / "results.json").read_text(encoding="utf-8"))
    printed = made.printed.replace("\r", "")  # a progress bar goes back to its line's beginning
    assert not OBEYED.search(printed), ascii(OBEYED.search(printed))
    assert {one.name for one in tmp_path.iterdir()} == {made.folder.name}


def test_the_fast_ones_hold_a_template() -> None:
    assert all("{{7*7}}" in nasty_plan(turn) for turn in FEW)


def test_a_guarded_layout_is_read_back_as_it_was() -> None:
    from trials.designs import draw
    from trials.trial_file import check_trial

    for turn in MANY:
        layout = draw(check_trial(nasty_plan(turn)))
        raw = layout.to_csv()
        codes = {slot.treatment for slot in layout.slots}
        guarded = {row["treatment"] for row in csv.DictReader(raw.splitlines())}
        assert {code.removeprefix("'") for code in guarded} >= {
            code for code in codes if not code.startswith("'")
        }


@pytest.mark.parametrize("command", ["check", "analyse", "report", "layout", "size", "rehearse"])
def test_the_terminal_is_not_told_what_to_do(command: str, capsys: pytest.CaptureFixture) -> None:
    main([command, "no\x1b[2J\x9b31m\u202e\x07where"])
    told = capsys.readouterr()
    assert "where" in told.err
    assert not OBEYED.search(told.out + told.err)


def test_words_of_the_command_line_are_not_obeyed(capsys: pytest.CaptureFixture) -> None:
    with pytest.raises(SystemExit):
        main(["check", "x", "--no\x1b[31msuch"])
    assert not OBEYED.search(capsys.readouterr().err)

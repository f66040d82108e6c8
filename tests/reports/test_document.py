"""The document to edit, read back with python-docx: the words of the page in their order."""

from __future__ import annotations

import io
import re
import zipfile

import docx
import pytest

from reports.document import to_docx
from reports.document_look import column_widths
from reports.parts.blocks import Bullets, Caution, Details, Figure, Paragraph, Table
from reports.report import write_report
from tests.reports.invented import renamed, two_mixes
from tests.reports.odd_words import NASTY
from tests.reports.stories import MADE_UP, invented_report

W = "{http://schemas.openxmlformats.org/wordprocessingml/2006/main}"


@pytest.fixture(scope="module", params=MADE_UP)
def report(request):
    return invented_report(request.param)


@pytest.fixture(scope="module")
def file(report):
    return to_docx(report)


@pytest.fixture(scope="module")
def document(file):
    return docx.Document(io.BytesIO(file))


def plain(text):
    """As read: isolates are runs of their own direction, ties are spaces."""
    return " ".join(re.sub("[\u2068\u2069]", "", text).replace("\u00a0", " ").split())


def told(report):
    """Every text of a report, as the page has them, in order."""
    key = report.key
    yield from (report.title, report.invented, report.question, key.headline, *key.sentences)
    yield from (key.basis, *key.steps)
    for section in report.sections:
        yield section.heading
        for block in section.blocks:
            yield from _told(block)


def _told(block):
    if isinstance(block, Paragraph):
        yield block.text
    elif isinstance(block, Bullets):
        yield from block.items
    elif isinstance(block, Table):
        yield block.caption
        for row in (block.columns, *block.rows):
            yield from row
    elif isinstance(block, Figure):
        yield f"[{block.title} {block.alt}]"
        yield block.caption
    elif isinstance(block, Caution):
        yield f"{block.title}. {block.text}"
    elif isinstance(block, Details):
        yield block.summary
        for inner in block.blocks:
            yield from _told(inner)


def read(document):
    """Every text of a document in order, pictures by their alternative text."""
    for part in document.element.body:
        if part.tag == f"{W}p":
            yield from (f"[{one.get('descr')}]" for one in part.iter() if one.tag.endswith("docPr"))
            yield "".join(text.text for text in part.iter(f"{W}t"))
        elif part.tag == f"{W}tbl":
            for cell in part.iter(f"{W}tc"):
                yield "".join(text.text or "" for text in cell.iter(f"{W}t"))


def test_it_holds_the_sentences_of_the_page_in_order(report, document):
    wanted = [text for text in map(plain, told(report)) if text]
    assert [text for text in map(plain, read(document)) if text] == wanted


def test_headings_can_be_jumped_to(report, document):
    headings = [one.text for one in document.paragraphs if one.style.name == "Heading 1"]
    assert [plain(one) for one in headings[1:]] == [plain(one.heading) for one in report.sections]
    assert document.paragraphs[0].style.name == "Title"


def test_pictures_are_at_print_size_and_told(report, document):
    shapes = list(document.inline_shapes)
    assert len(shapes) == sum(1 for _ in _figures(report)) > 0
    for shape in shapes:
        assert 100 < shape.width.mm < 170
        assert shape.height.mm < 250
        assert len(shape._inline.docPr.get("descr")) > 40
    for picture in _figures(report):
        # 300 dots an inch and more at that width.
        assert int.from_bytes(picture.png[16:20], "big") / (106 / 25.4) >= 290


def _figures(report):
    def within(blocks):
        for block in blocks:
            if isinstance(block, Figure):
                yield block
            elif isinstance(block, Details):
                yield from within(block.blocks)

    for section in report.sections:
        yield from within(section.blocks)


def test_the_file_names_nobody_and_no_hour(file, document):
    facts = document.core_properties
    assert (facts.author, facts.last_modified_by, facts.comments) == ("", "", "")
    assert facts.created == facts.modified
    assert facts.created.year == 2000
    with zipfile.ZipFile(io.BytesIO(file)) as parts:
        assert {one.date_time for one in parts.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert not any("thumbnail" in name for name in parts.namelist())
        assert "python-docx" not in parts.read("docProps/core.xml").decode()


def test_the_same_report_gives_the_same_bytes(report, file):
    assert to_docx(report) == file


@pytest.mark.parametrize("name", NASTY.values(), ids=NASTY)
def test_whatever_the_grower_writes_is_only_text(name):
    analysis = renamed(two_mixes(title=name, question=name, species=name, place=name), O=name)
    report = write_report(analysis, figures=False)
    file = to_docx(report)
    document = docx.Document(io.BytesIO(file))
    assert [text for text in map(plain, read(document)) if text] == [
        text for text in map(plain, told(report)) if text
    ]
    names = {part.tag.rpartition("}")[2] for part in document.element.iter() if part.tag}
    assert not names & {"instrText", "fldSimple", "fldChar", "hyperlink", "altChunk", "object"}
    with zipfile.ZipFile(io.BytesIO(file)) as parts:
        for part in parts.namelist():
            if part.endswith(".rels"):
                assert "External" not in parts.read(part).decode()


def test_right_to_left_names_run_right_to_left():
    report = write_report(renamed(two_mixes(), O=NASTY["right to left"]), figures=False)
    document = docx.Document(io.BytesIO(to_docx(report)))
    turned = [run.text for line in document.paragraphs for run in line.runs if run.font.rtl]
    assert NASTY["right to left"] in turned


def test_signs_that_xml_forbids_are_left_out():
    report = write_report(two_mixes(), figures=False)
    spoiled = type(report)(
        title="a\x00b\x1bc\ufffe", question=report.question, invented="", key=report.key,
        sections=report.sections[:1],
    )  # fmt: skip
    document = docx.Document(io.BytesIO(to_docx(spoiled)))
    assert document.paragraphs[0].text == "abc"
    assert document.core_properties.title == "abc"


@pytest.mark.parametrize("text", ["=1+1", "=cmd|' /C calc'!A0", "{ INCLUDETEXT c:/x }", "@SUM(A1)"])
def test_formulas_and_fields_stay_text(text):
    report = write_report(renamed(two_mixes(), O=text), figures=False)
    document = docx.Document(io.BytesIO(to_docx(report)))
    assert any(text in one for one in read(document))
    assert not list(document.element.iter(f"{W}instrText"))


def test_a_column_is_as_wide_as_what_stands_in_it():
    rows = (("Treatment", "p", "Method"), ("10 % bran", "1.0", "Mantel-Haenszel, by strata " * 3))
    narrow, least, wide = column_widths(rows)
    assert sum((narrow, least, wide)) == pytest.approx(170)
    assert least < narrow < wide
    assert narrow > 170 * len("Treatment") / 100
    many = (tuple("Intracluster" for _ in range(14)),)
    assert sum(column_widths(many)) == pytest.approx(170)

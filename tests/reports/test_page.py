"""The page, its Markdown and its plain text: safe, self-contained, usable, in order."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import re

import pytest

from reports.page import to_html, to_markdown, to_text
from reports.plain_text import shown_width
from reports.report import INVENTED, write_report
from reports.summary import summary
from tests.reports.invented import renamed, shortcut, two_mixes
from tests.reports.odd_words import NASTY, written_report
from tests.reports.page_reader import Page
from tests.reports.stories import MADE_UP, invented_report

MARKDOWN_MAY_MAKE = {
    "h1", "h2", "h3", "p", "strong", "em", "ul", "li", "blockquote", "table", "thead", "tbody",
    "tr", "th", "td",
}  # fmt: skip


@pytest.fixture(scope="module", params=MADE_UP)
def report(request):
    return invented_report(request.param)


@pytest.fixture(scope="module")
def html(report):
    return to_html(report)


@pytest.fixture(scope="module")
def page(html):
    return Page(html)


def test_nothing_comes_from_elsewhere(page, html):
    for _, attrs in page.elements:
        for key, value in attrs.items():
            if key in ("src", "href", "xlink:href", "data", "action"):
                assert value.startswith("#")
            assert not key.startswith("on")
            assert key != "style"
    assert not page.all("script")
    assert not page.all("link")
    assert "@import" not in html
    assert "url(http" not in html


def test_the_policy_names_the_style_by_its_hash(page, html):
    policy = next(
        attrs["content"]
        for attrs in page.all("meta")
        if attrs.get("http-equiv") == "Content-Security-Policy"
    )
    style = re.search(r"<style>(.*?)</style>", html, re.DOTALL).group(1)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_the_page_is_well_formed(page):
    assert page.unclosed == []
    assert page.open == []
    ids = [attrs["id"] for _, attrs in page.elements if "id" in attrs]
    assert len(ids) == len(set(ids))


def test_headings_links_and_landmarks(page):
    assert page.all("html")[0]["lang"] == "en"
    assert len(page.all("h1")) == len(page.all("main")) == 1
    ids = {attrs["id"] for _, attrs in page.elements if "id" in attrs}
    targets = [attrs["href"][1:] for attrs in page.all("a")]
    assert targets[0] == "answer"
    assert set(targets) <= ids
    labels = [attrs["aria-labelledby"] for attrs in page.all("section")]
    assert set(labels) <= ids


def test_tables_have_headings_and_scroll(page):
    assert all(attrs.get("scope") in ("col", "row") for attrs in page.all("th"))
    scrolls = [attrs for attrs in page.all("div") if attrs.get("class") == "scroll"]
    assert len(scrolls) == len(page.all("table"))
    assert all(attrs["tabindex"] == "0" and attrs["aria-label"] for attrs in scrolls)


def test_pictures_are_told(page, report):
    pictures = [attrs for attrs in page.all("svg") if attrs.get("role") == "img"]
    assert len(pictures) == len(report.figures) > 0
    ids = {attrs["id"] for _, attrs in page.elements if "id" in attrs}
    for attrs in pictures:
        assert set(attrs["aria-labelledby"].split()) <= ids


def test_pictures_follow_light_and_dark(html):
    body = html[html.index("<body") :]
    assert "var(--ink)" in body
    assert not re.findall(r'(?:fill|stroke)="#', body)


def test_the_order_is_the_order_of_the_questions(report):
    order = ["picture", "meaning", "treatments", "losses", "flushes", "trust", "not-said",
             "planned", "how", "statistician", "cautions"]  # fmt: skip
    there = [section.id for section in report.sections]
    assert there == [one for one in order if one in there]
    assert {"picture", "treatments", "losses", "trust", "not-said", "planned", "how",
            "statistician", "cautions"} <= set(there)  # fmt: skip


def test_main_text_holds_no_p_value_and_no_loud_word(report):
    main = dataclasses.replace(
        report,
        sections=tuple(one for one in report.sections if one.id != "statistician"),
    )
    text = to_text(main)
    for word in ("significan", "proved", "no effect", "trend", "p =", "p <", "nan", "degrees"):
        assert word not in text.lower()


def test_the_interval_is_explained_once(report):
    main = [*report.key.sentences]
    for section in report.sections:
        main += [block.text for block in section.blocks if hasattr(block, "text")]
    withheld = any(word in report.key.headline for word in ("cannot compare", "One batch a side"))
    assert sum("hold the truth" in text for text in main) == (0 if withheld else 1)


def test_invented_data_are_marked_on_every_form(report):
    for text in (to_html(report), to_markdown(report), to_text(report)):
        assert INVENTED.split(":")[0] in text[: text.index(report.key.headline[:20])]


def test_real_data_are_not_marked():
    real = write_report(two_mixes(invented=False), figures=False)
    assert "nvented" not in to_text(real)


@pytest.mark.parametrize("name", NASTY.values(), ids=NASTY)
def test_whatever_the_grower_writes_is_only_text(name):
    report = written_report(name)
    page = Page(to_html(report))
    assert page.unclosed == []
    assert not page.all("script")
    if "<script>" in name:
        assert "<script>alert(1)</script>" in page.text
    markdown = to_markdown(report)
    assert "<script" not in markdown.replace("\\<", "")
    assert "\x00" not in markdown + to_text(report)


def test_markdown_escapes_its_own_signs():
    markdown = to_markdown(
        write_report(renamed(two_mixes(), O="*bran* | [x](y) `z`"), figures=False)
    )
    assert r"\*bran\* \| \[x\](y) \`z\`" in markdown


@pytest.mark.parametrize(
    "written",
    ["1. bran", "12) bran", "- bran", "&lt;b&gt;", "https://a.example/x", "WWW.a.example",
     "ada@a.example", "![x](y)", "<b>bran</b>", "*a* _b_ `c` ~d~ #e $f$ |g| \\h", "10 % bran"],
)  # fmt: skip
def test_a_reader_of_markdown_shows_what_was_written_and_nothing_else(written):
    """Read by a library of CommonMark 0.31 with tables and bare links on: text, word for word."""
    reader = pytest.importorskip("markdown_it", reason="no reader of Markdown")
    report = write_report(renamed(two_mixes(title=written), O=written), figures=False)
    html = reader.MarkdownIt("commonmark").enable("table").render(to_markdown(report))
    page = Page(html)
    assert written in page.text
    assert not page.all("a")
    assert not page.all("img")
    assert not page.all("b")
    assert all(one[0] in MARKDOWN_MAY_MAKE for one in page.elements), page.elements


@pytest.mark.parametrize(
    ("written", "safe"),
    [("https://a.example", r"https\://a.example"), ("WWW.a.example", r"WWW\.a.example"),
     ("ada@a.example", r"ada\@a.example"), ("1. bran", r"1\. bran"), ("10 % bran", "10 % bran")],
)  # fmt: skip
def test_bare_addresses_are_no_links(written, safe):
    markdown = to_markdown(write_report(renamed(two_mixes(), O=written), figures=False))
    assert f"| {safe} |" in markdown


def test_markdown_tables_are_whole(report):
    lines = to_markdown(report).splitlines()
    for place, line in enumerate(lines):
        if line.startswith("| ---"):
            columns = line.count("|")
            after = place + 1
            assert len(re.findall(r"(?<!\\)\|", lines[place - 1])) == columns
            while after < len(lines) and lines[after].startswith("|"):
                assert len(re.findall(r"(?<!\\)\|", lines[after])) == columns
                after += 1


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_plain_text_keeps_its_width(report, width):
    for line in to_text(report, width=width).splitlines():
        assert shown_width(line) <= width


@pytest.mark.parametrize("width", [60, 80])
def test_the_summary_keeps_its_width_and_its_answer(width):
    analysis = two_mixes()
    text = summary(analysis, width=width)
    assert all(shown_width(line) <= width for line in text.splitlines())
    assert write_report(analysis, figures=False).key.headline in " ".join(text.split())


def test_the_page_is_the_same_for_the_same_analysis():
    assert to_html(write_report(two_mixes())) == to_html(invented_report("two_mixes"))


def test_cautions_follow_the_grower_s_own_words():
    steam = write_report(shortcut(), figures=False)
    titles = [block.title for block in steam.sections[-1].blocks]
    assert titles == ["Hot water and steam", "Fresh air", "Spores"]
    mixes = write_report(two_mixes(), figures=False)
    assert [block.title for block in mixes.sections[-1].blocks] == ["Spores"]
    assert all("ask a qualified person" in block.text for block in steam.sections[-1].blocks)


def test_changes_since_the_lock_are_told():
    text = to_text(write_report(two_mixes(), figures=False))
    assert "The number of flushes was changed from 4 to 3." in text
    assert "one thing changed since" in text

"""The terminal: calm, in line, without colour, whole at every width, whatever a grower wrote."""

from __future__ import annotations

import re
import unicodedata

import pytest

from pinset.cli import main
from pinset.demos import demo_folder
from reports.page import to_html, to_markdown, to_text
from reports.plain_text import fill, shown_width
from reports.report import write_report
from reports.summary import summary
from tests.reports.invented import four_mixes
from tests.reports.odd_words import WORDS, written, written_report
from tests.reports.page_reader import Page
from tests.reports.stories import SINGLE, story, story_report


def is_whole(lines, text, width):
    """Whether no line is too wide, and nothing of a text is lost but the line breaks."""
    assert [line for line in lines if shown_width(line) > width] == []
    # A word wider than a line is broken inside, so spaces are left out on both sides.
    return "".join(text.split()) in "".join("".join(lines).split())


@pytest.mark.parametrize("width", [40, 60, 80])
@pytest.mark.parametrize("name", SINGLE)
def test_a_story_keeps_its_width_and_every_sentence(name, width):
    lines = summary(story(name), width=width).splitlines()
    key = story_report(name, figures=False).key
    for said in (key.headline, *key.sentences, key.basis, *key.steps):
        assert is_whole(lines, said, width)


@pytest.mark.parametrize(
    "name", [SINGLE[0], *(pytest.param(one, marks=pytest.mark.slow) for one in SINGLE[1:])]
)
def test_the_command_prints_it_without_colour_at_sixty_columns(name, monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "60")
    folder = demo_folder() / name
    assert main(["analyse", str(folder)]) == 0
    out = capsys.readouterr().out
    assert "\x1b" not in out
    *lines, command = out.splitlines()
    assert command.strip().removeprefix("Next: ") == f"pinset report {folder}"
    # What only a page tells is left out, and nothing of what is printed here rests on it.
    assert "\n".join(lines).strip() == summary(story(name), width=60).strip()
    assert is_whole(lines, story_report(name, figures=False).key.headline, 60)


def test_numbers_stand_in_line():
    """Figures end in one column in a table; where it is too wide, they begin in one."""
    wide = summary(four_mixes(), width=88)
    ends = {len(line) for line in re.findall(r"^.*\d %?$", wide, re.MULTILINE) if "  " in line}
    assert len(ends) <= 2
    narrow = summary(four_mixes(), width=40).splitlines()
    starts = {re.match(r" {4}\S.*? {2,}", line).end() for line in narrow if line[:5] == "    M"}
    assert len(starts) <= 2


@pytest.mark.parametrize("words", WORDS.values(), ids=WORDS)
@pytest.mark.parametrize("width", [40, 60])
def test_a_terminal_shows_any_words(words, width):
    analysis = written(words)
    report = write_report(analysis, figures=False)
    for text in (summary(analysis, width=width), to_text(report, width=width)):
        lines = text.splitlines()
        assert [line for line in lines if shown_width(line) > width] == []
        assert not [sign for sign in text if sign != "\n" and unicodedata.category(sign) == "Cc"]
        assert "\u202e" not in text
    assert is_whole(summary(analysis, width=width).splitlines(), report.key.headline, width)


@pytest.mark.parametrize("words", WORDS.values(), ids=WORDS)
def test_page_and_markdown_hold_any_words_as_text(words):
    report = written_report(words)
    html, markdown = to_html(report), to_markdown(report)
    page = Page(html)
    assert page.unclosed == []
    assert not [one for one in ("script", "img", "b", "iframe", "object") if page.all(one)]
    assert not [key for _, attrs in page.elements for key in attrs if key.startswith("on")]
    assert all(attrs["href"].startswith("#") for attrs in page.all("a"))
    assert "49" not in words
    assert "\u202e" not in html + markdown
    assert not re.search(r"(?<!\\)<(?!/?$)[a-z!]", markdown)
    assert not re.search(r"(?<![!\\])\[[^\]]*(?<!\\)\]\(", markdown)
    for form in (html, markdown):
        assert not [sign for sign in form if sign != "\n" and unicodedata.category(sign) == "Cc"]


def test_a_word_wider_than_a_line_is_broken_and_not_lost():
    assert "".join(fill("x" * 95, 40)) == "x" * 95
    assert fill("", 40) == []

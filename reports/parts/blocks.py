"""What a report is made of: plain values that pages, Markdown and the terminal all render."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

__all__ = [
    "Block",
    "Bullets",
    "Caution",
    "Details",
    "Figure",
    "KeyAnswer",
    "Paragraph",
    "Report",
    "Section",
    "Table",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A finished picture.

    Parameters
    ----------
    name : str
        Stable file name without ending.
    svg : str
        A document that stands alone: no script, no fonts from elsewhere, text as text.
    png : bytes
        The same at print size.
    title : str
        What the picture shows, drawn on it too.
    alt : str
        What someone who cannot see it must know.
    caption : str
        How to read it.
    """

    name: str
    svg: str
    png: bytes
    title: str
    alt: str
    caption: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyAnswer:
    """The answer on the first screen.

    Parameters
    ----------
    headline : str
        The verdict, in one sentence.
    sentences : tuple of str
        Size, range and margin.
    basis : str
        Units, blocks, lot, labels, losses.
    steps : tuple of str
        What to do next.
    """

    headline: str
    sentences: tuple[str, ...]
    basis: str
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Paragraph:
    """One paragraph of plain text."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bullets:
    """A list of short remarks."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table of finished text.

    Parameters
    ----------
    caption : str
        What it holds, units included.
    columns : tuple of str
        Headings; the first column names the row.
    rows : tuple of tuple of str
        Cells, as many in a row as there are columns.
    numeric : tuple of bool
        Which columns are set flush right.
    """

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[bool, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """A warning about something that can hurt, or mislead."""

    title: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Details:
    """Something that unfolds."""

    summary: str
    blocks: tuple[Block, ...]


Block: TypeAlias = Paragraph | Bullets | Table | Figure | Caution | Details | KeyAnswer


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A heading with what stands under it.

    Parameters
    ----------
    id : str
        Where the contents jump to.
    heading : str
        Its heading.
    blocks : tuple of Block
        In reading order.
    """

    id: str
    heading: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A whole report.

    Parameters
    ----------
    title, question : str
        In the grower's words, fit to print.
    invented : str
        Said at the top where the data are made up; else empty.
    key : KeyAnswer
        The first screen.
    sections : tuple of Section
        In reading order.
    """

    title: str
    question: str
    invented: str
    key: KeyAnswer
    sections: tuple[Section, ...]

    @property
    def answer(self) -> str:
        """The answer in one or two sentences."""
        return " ".join((self.key.headline, *self.key.sentences[:1]))

    @property
    def figures(self) -> tuple[Figure, ...]:
        """Every picture in the report, once, in reading order."""
        found: dict[str, Figure] = {}
        for section in self.sections:
            _gather(section.blocks, found)
        return tuple(found.values())


def _gather(blocks: tuple[Block, ...], found: dict[str, Figure]) -> None:
    for block in blocks:
        if isinstance(block, Figure):
            found.setdefault(block.name, block)
        elif isinstance(block, Details):
            _gather(block.blocks, found)

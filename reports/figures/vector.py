"""SVG made fit to stand alone, and fit to stand inside a page.

Inline style becomes plain attributes, so that a page can forbid inline style; ids carry the
name of their figure, so that several figures can share a page.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from xml.etree import ElementTree

__all__ = ["FONTS", "inside_page", "standing_alone"]

FONTS = "DejaVu Sans, Verdana, Noto Sans, Liberation Sans, Arial, sans-serif"

_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
_PLACES = ("x", "y", "d", "width", "height")
_FINE = re.compile(r"-?\d+\.\d{3,}")
_REFERENCE = re.compile(r"url\(#([^)]+)\)")
_TAG = re.compile(r"<[^>]+>")
_FONT = re.compile(
    r"(?:(?P<weight>bold|normal|\d{3})\s+)?(?P<size>[\d.]+)px(?:\s*/\s*[\d.]+)?\s+.*", re.DOTALL
)


def standing_alone(svg: str, *, name: str, title: str, alt: str) -> str:
    """Clean the SVG of a drawing library and give it a title and a description.

    Parameters
    ----------
    svg : str
        As rendered.
    name : str
        Put before every id.
    title, alt : str
        Accessible name and description.

    Returns
    -------
    str
        A document without inline style, metadata or document type.
    """
    ElementTree.register_namespace("", _SVG)
    ElementTree.register_namespace("xlink", _XLINK)
    root = ElementTree.fromstring(svg)
    _drop_leftovers(root)
    for element in root.iter():
        _restyle(element)
        _round(element)
        _rename(element, name)
    _describe(root, name, title, alt)
    root.set("stroke-linejoin", "round")
    return ElementTree.tostring(root, encoding="unicode") + "\n"


def inside_page(svg: str, tints: Mapping[str, str]) -> str:
    """Give the SVG as it stands inside a page, its colours traded for the page's variables.

    Parameters
    ----------
    svg : str
        A result of `standing_alone`.
    tints : mapping of str to str
        Hexadecimal colour to what takes its place.

    Returns
    -------
    str
        The element alone, sized by the page.
    """
    start = svg.index("<svg")

    def traded(tag: re.Match[str]) -> str:
        text = tag.group()
        for colour, other in tints.items():
            text = text.replace(f'"{colour}"', f'"{other}"')
        return text

    # Tags only: in an SVG text a grower may well write a colour.
    body = _TAG.sub(traded, svg[start:])
    return re.sub(r'(<svg[^>]*?) (?:width|height)="[^"]*"', r"\1", re.sub(
        r'(<svg[^>]*?) (?:width|height)="[^"]*"', r"\1", body, count=1
    ), count=1)  # fmt: skip


def _drop_leftovers(root: ElementTree.Element) -> None:
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in (f"{{{_SVG}}}metadata", f"{{{_SVG}}}style"):
                parent.remove(child)


def _restyle(element: ElementTree.Element) -> None:
    style = element.attrib.pop("style", "")
    for part in style.split(";"):
        key, _, value = (piece.strip() for piece in part.partition(":"))
        if key == "font":
            _set_font(element, value)
        elif key == "font-family":
            element.set("font-family", FONTS)
        elif key:
            element.set(key, value.replace("px", "") if key == "font-size" else value)


def _round(element: ElementTree.Element) -> None:
    """Give places to a hundredth of a point: finer than any print, and a third fewer letters."""
    for key in _PLACES:
        if key in element.attrib:
            element.set(key, _FINE.sub(_hundredth, element.attrib[key]))


def _hundredth(found: re.Match[str]) -> str:
    return f"{float(found.group()):.2f}".rstrip("0").rstrip(".")


def _set_font(element: ElementTree.Element, font: str) -> None:
    found = _FONT.match(font)
    if found:
        element.set("font-size", found["size"])
        if found["weight"]:
            element.set("font-weight", found["weight"])
    element.set("font-family", FONTS)


def _rename(element: ElementTree.Element, name: str) -> None:
    for key, value in element.attrib.items():
        if key == "id":
            element.set(key, f"{name}-{value}")
        elif key == f"{{{_XLINK}}}href" and value.startswith("#"):
            element.set(key, f"#{name}-{value[1:]}")
        elif "url(#" in value:
            element.set(key, _REFERENCE.sub(rf"url(#{name}-\1)", value))


def _describe(root: ElementTree.Element, name: str, title: str, alt: str) -> None:
    for place, (tag, text) in enumerate((("title", title), ("desc", alt))):
        element = ElementTree.Element(f"{{{_SVG}}}{tag}", {"id": f"{name}-{tag}"})
        element.text = text
        root.insert(place, element)
    root.set("role", "img")
    root.set("aria-labelledby", f"{name}-title {name}-desc")

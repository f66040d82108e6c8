"""A report as one self-contained HTML page, as Markdown and as plain text.

The page needs no network and no script: its policy allows nothing but its own style sheet, named
by its hash (W3C Content Security Policy Level 3, 8.2).
"""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from typing import TYPE_CHECKING, Any

from reports.figures.look import TINTS
from reports.figures.vector import inside_page
from reports.markdown import to_markdown
from reports.parts.blocks import Block, Figure, Report
from reports.plain_text import to_text
from reports.wording.grammar import tied

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = ["policy_for", "style_sheet", "templates", "to_html", "to_markdown", "to_text"]


def to_html(report: Report) -> str:
    """Give a report as a page.

    Parameters
    ----------
    report : Report
        Text in it is escaped here.

    Returns
    -------
    str
        One HTML document with its style and pictures inside.
    """
    style = style_sheet("report.css")
    template = templates().get_template("report.html")
    return template.render(
        report=report, style=_raw(style), policy=policy_for(style), kind_of=_kind, picture=_picture
    )


def policy_for(style: str) -> str:
    """Give the content security policy of a page with one style sheet.

    Parameters
    ----------
    style : str
        The text between the style tags.
    """
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


@cache
def style_sheet(name: str) -> str:
    """Give a style sheet with the tints of the figures as its variables.

    Parameters
    ----------
    name : str
        File in ``reports/templates``.
    """
    from importlib.resources import files

    text = (files("reports") / "templates" / name).read_text(encoding="utf-8")
    light = " ".join(f"--{_slug(part)}: {one.light};" for part, one in TINTS.items())
    dark = " ".join(f"--{_slug(part)}: {one.dark};" for part, one in TINTS.items())
    return (
        f":root {{ {light} }}\n"
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{ {dark} }} }}\n{text}"
    )


@cache
def templates() -> Environment:
    """Give the templates, escaping on and undefined names refused."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("reports", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["tied"] = tied
    return environment


def _picture(figure: Figure) -> object:
    tints = {one.light: f"var(--{_slug(part)})" for part, one in TINTS.items()}
    return _raw(inside_page(figure.svg, tints))


def _kind(block: Block) -> str:
    return type(block).__name__


def _slug(part: str) -> str:
    return part.replace(" ", "-")


def _raw(text: str) -> Any:  # noqa: ANN401
    """Mark text of our own making as not to be escaped."""
    from markupsafe import Markup

    return Markup(text)

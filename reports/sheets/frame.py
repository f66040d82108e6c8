"""The frame of every printed sheet: heading, style, policy, cautions."""

from __future__ import annotations

from reports.page import policy_for, templates
from reports.parts.blocks import Caution
from reports.report import INVENTED
from reports.wording.names import printable, shorten
from trials.layout import Slot
from trials.trial import Trial

__all__ = ["framed", "place_of"]

_LONGEST_TITLE = 90
_LONGEST_GROWER = 40


def framed(
    template: str,
    trial: Trial,
    *,
    kind: str,
    page_style: str,
    lines: tuple[str, ...],
    cautions: tuple[Caution, ...],
    **values: object,
) -> str:
    """Fill the template of a sheet.

    Parameters
    ----------
    template : str
        File in ``reports/templates``.
    trial : Trial
        The plan.
    kind : str
        What the sheet is called.
    page_style : str
        Style of this sheet alone, such as paper direction and label size.
    lines : tuple of str
        What to know before using it.
    cautions : tuple of Caution
        Printed at its end.
    **values : object
        What the template wants.

    Returns
    -------
    str
        One HTML document that needs nothing from elsewhere.
    """
    from importlib.resources import files

    from markupsafe import Markup

    shared = (files("reports") / "templates" / "sheet.css").read_text(encoding="utf-8")
    style = f"{page_style}\n{shared}"
    return (
        templates()
        .get_template(template)
        .render(
            kind=kind,
            title=shorten(printable(trial.title), _LONGEST_TITLE),
            grower=shorten(printable(trial.grower), _LONGEST_GROWER),
            invented=INVENTED if trial.invented else "",
            lines=lines,
            cautions=cautions,
            style=Markup(style),
            policy=policy_for(style),
            **values,
        )
    )


def place_of(slot: Slot) -> str:
    """Say where a unit stands: shelf 3, place 2.

    Parameters
    ----------
    slot : Slot
        One unit of the layout.
    """
    place = f"place {slot.position}"
    block = shorten(printable(slot.block), 24)
    return f"{block}, {place}" if block else place

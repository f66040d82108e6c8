"""One page for a grower who takes part in a trial of several growers: what to do, in order."""

from __future__ import annotations

from reports.parts.blocks import Caution
from reports.parts.cautions import FOLLOW
from reports.sheets.frame import framed
from reports.wording.names import printable, shorten, unit_word
from trials.group.group_file import Member
from trials.layout import Layout
from trials.trial import Trial

__all__ = ["HOW_TO_CAUTIONS", "how_to_sheet"]

_MOST_NAMED = 6
# The shared style follows and would win over a plain name, so that these are one step stronger.
_STYLE = """\
@page { margin: 10mm 13mm; }
html body { font-size: 9.6pt; line-height: 1.3; max-width: 190mm; }
body main ol { margin: 0; padding-left: 7mm; }
body main ul { margin: 0; padding-left: 5mm; }
body main li { margin-bottom: 0.8mm; }
body h2 { font-size: 10.5pt; margin: 2mm 0 0.5mm; }
body .invented { padding: 0.8mm 2mm; margin-bottom: 1.5mm; }
body footer { margin-top: 2mm; }
body .caution { font-size: 8.5pt; line-height: 1.22; margin-bottom: 0.8mm; }
"""

HOW_TO_CAUTIONS: tuple[Caution, ...] = (
    Caution(
        title="Heat, steam and pressure",
        text="Boiling water and steam scald. Wear long gloves, sleeves and eye cover. Never open a "
        "vessel under pressure. Burn outdoors only: carbon monoxide has no smell and kills.",
    ),
    Caution(
        title="Lime and dust",
        text="Hydrated lime burns eyes, skin and lungs: goggles, gloves, dust mask.",
    ),
    Caution(
        title="Mould and spores",
        text="Throw a contaminated one out, closed, and do not sniff it; no part of it is food. "
        "Pick before the caps flatten, and air the room.",
    ),
    Caution(
        title="Lifting and knives",
        text="Lift with a straight back or with two people. Cut away from your hand. " + FOLLOW,
    ),
)
"""The cautions of the other sheets, shortened to fit one page; the sheets print them in full."""


def how_to_sheet(trial: Trial, layout: Layout, member: Member, *, growers: int) -> str:
    """Give the page that goes with the folder of one grower.

    Parameters
    ----------
    trial : Trial
        The grower's own plan.
    layout : Layout
        Drawn for this grower.
    member : Member
        Whose page it is.
    growers : int
        How many take part.

    Returns
    -------
    str
        One HTML document that fits one page of A4.
    """
    return framed(
        "how_to_sheet.html",
        trial,
        kind=f"How to run your part: {shorten(printable(member.shown), 40)}",
        page_style=_STYLE,
        lines=_opening(trial, layout, growers),
        cautions=HOW_TO_CAUTIONS,
        treatments=_treatments(trial),
        steps=_steps(trial),
        stays=_stays(trial),
        name=_name_line(member),
    )


def _opening(trial: Trial, layout: Layout, growers: int) -> tuple[str, ...]:
    question = shorten(printable(trial.question), 160)
    counted = f"{len(layout.slots)} {unit_word(trial)}s"
    lines = [
        f"{growers} growers run this same trial, each in their own room. Alone it settles little; "
        f"together it can. Your part is {counted}."
    ]
    return (f"The question: {question}", *lines) if question else tuple(lines)


def _treatments(trial: Trial) -> tuple[str, ...]:
    """Name what is compared; on a page that must not grow, the last ones become a number."""
    named = [
        shorten(printable(one.name), 60) + (" (what the others are compared with)" if one.control
                                            else "")
        for one in (trial.control, *trial.challengers)
    ]  # fmt: skip
    if len(named) <= _MOST_NAMED:
        return tuple(named)
    left = len(named) - _MOST_NAMED + 1
    return (*named[: _MOST_NAMED - 1], f"and {left} more; the mixing sheet names them all")


def _steps(trial: Trial) -> tuple[str, ...]:
    unit = unit_word(trial)
    return (
        "Print what is in the folder “print”: labels in one size, mixing sheet, shelf map, record "
        "sheet, calendar. The layout was drawn by lot for you alone. Use your own sheets, not a "
        "neighbour's.",
        "Mix by the mixing sheet, all treatments in the same days. Put the label on as soon as a "
        f"{unit} is filled.",
        f"Put every {unit} on the place that the shelf map gives it, and leave it there. Do not "
        "sort, and do not give one treatment the better shelf.",
        "Do all else alike: spawn, look, open, water and pick without asking which it is.",
        f"Weigh each {unit} in each flush: {_flushes(trial)}. Write 0 where you looked and nothing "
        "came; leave blank what was not weighed.",
        f"Is your scale another one? A bare number is in {trial.weights}. Otherwise write the unit "
        "with the number: 14 oz, or 1 lb 3 oz, or 0.41 kg.",
        f"A lost {unit} keeps its row: write contaminated or lost otherwise, and the day. Never "
        "replace it. A lost shelf is no shame; it still counts as what it was.",
        "Copy the record sheet into records.xlsx. “pinset check” with the name of the folder finds "
        "slips of the pen.",
        "At the end of trial.toml stands [room]: write down temperature and heat treatment there. "
        "It may explain why growers differ.",
        "Send the whole folder back, also if you stopped early or lost some: what is there counts.",
    )


def _flushes(trial: Trial) -> str:
    return "one flush" if trial.flushes == 1 else f"{trial.flushes} flushes"


def _stays(trial: Trial) -> str:
    return (
        "Recipe, treatments, number of flushes and the aim are the same for all growers: do not "
        f"change them in trial.toml. Did a {unit_word(trial)} get something else? Write it into "
        "its note and tell the group."
    )


def _name_line(member: Member) -> str:
    if member.show_name and member.name:
        return "You agreed that the group's page shows your name. Say so if you changed your mind."
    return (
        f"The group's page calls you Grower {printable(member.letter)}. Your name is shown only if "
        "you say yes to it."
    )

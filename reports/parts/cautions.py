"""The usual cautions, where a page or sheet tells someone to do something that can hurt.

Sources: spores, Lenhart & Cole (1993), Appl Occup Environ Hyg 8, 112-119; hydrated lime, NIOSH
Pocket Guide 0092 and ICSC 0408; the rest is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable

from reports.parts.blocks import Caution
from trials.trial import Trial

__all__ = ["FOLLOW", "for_repeating", "for_sheets", "mould"]

FOLLOW = "Follow your local rules and ask a qualified person."

_MOULD = Caution(
    title="Mould",
    text="A contaminated bag is thrown out. Keep it closed, take it outside and do not sniff it. "
    "No part of it is food. " + FOLLOW,
)
_SPORES = Caution(
    title="Spores",
    text="Pick before the caps flatten, air the room, and wear a respirator where there are many "
    "spores. See a doctor about a cough or fever that lasts after work. " + FOLLOW,
)
_LIFTING = Caution(
    title="Lifting",
    text="Wet substrate is heavy. Lift with a straight back, or with two people, and put heavy "
    "units low. Check what a shelf can carry. " + FOLLOW,
)
_KNIVES = Caution(
    title="Knives and wet floors",
    text="Cut away from your hand. Keep the scale, its plug and the floor dry. " + FOLLOW,
)

_BY_WORD: tuple[tuple[tuple[str, ...], Caution], ...] = (
    (
        ("boil", "hot water", "scald", "pasteur", "steam", "cook"),
        Caution(
            title="Hot water and steam",
            text="Boiling water and steam scald. Wear gloves, long sleeves and eye cover, and let "
            "vessels cool before you open or lift them. " + FOLLOW,
        ),
    ),
    (
        ("pressure", "autoclave", "steril", "canner"),
        Caution(
            title="Pressure",
            text="Use a pressure vessel only by its manual. Never open it under pressure. "
            + FOLLOW,
        ),
    ),
    (
        ("steam", "boil", "burner", "gas", "propane", "ferment", "compost", "hot water"),
        Caution(
            title="Fresh air",
            text="Burners and fermenting substrate need fresh air: carbon monoxide and carbon "
            "dioxide kill without a smell. " + FOLLOW,
        ),
    ),
    (
        ("lime", "hydroxide", "kalk", "ash"),
        Caution(
            title="Lime",
            text="Hydrated lime burns eyes, skin and lungs. Wear goggles, gloves and a dust mask. "
            + FOLLOW,
        ),
    ),
    (
        ("bleach", "peroxide", "alcohol", "chlor"),
        Caution(
            title="Chemicals",
            text="Read the label. Never mix bleach with anything but water. Keep alcohol from "
            "flames. " + FOLLOW,
        ),
    ),
)


def mould() -> Caution:
    """Give the caution about contaminated units."""
    return _MOULD


def for_repeating(trial: Trial) -> tuple[Caution, ...]:
    """Give the cautions for someone who takes over or repeats what was tried.

    Parameters
    ----------
    trial : Trial
        Its own words decide: names, notes and recipes that speak of steam, lime and the like.
    """
    words = " ".join(_words(trial)).lower()
    found = [caution for keys, caution in _BY_WORD if any(key in words for key in keys)]
    return (*found, _SPORES)


def for_sheets(kind: str) -> tuple[Caution, ...]:
    """Give the cautions that belong on a printed sheet.

    Parameters
    ----------
    kind : {"record sheet", "shelf map", "labels"}
        Which sheet.
    """
    return {
        "record sheet": (_MOULD, _SPORES, _KNIVES),
        "shelf map": (_LIFTING,),
        "labels": (),
    }[kind]


def _words(trial: Trial) -> Iterable[str]:
    yield from (trial.title, trial.question)
    for one in trial.treatments:
        yield from (one.name, one.note)
    for recipe in trial.recipes:
        yield recipe.name
        yield from (ingredient.name for ingredient in recipe.ingredients)

"""The trial file: TOML text to `Trial` with every mistake at once, and back again."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from pathlib import Path

from trials.design_table import read_design
from trials.factors import factor_problems
from trials.measures import GRAMS_IN, weight_unit
from trials.plan_reader import PlanTable, tidy_text
from trials.problems import Problem, Problems, nearest
from trials.recipe import check_recipes
from trials.room import check_room
from trials.toml_text import read_text, to_document
from trials.trial import (
    CLAIMS,
    OUTCOMES,
    Aim,
    Costs,
    Margin,
    MarginUnit,
    Outcome,
    Treatment,
    Trial,
)
from trials.typed import typed

__all__ = ["TRIAL_FILE", "check_trial", "looks", "margin", "read_trial"]

TRIAL_FILE = "trial.toml"
_LOOKS = "Write the days between looks, looks = 7, or the days: looks = [2026-03-09, 2026-03-16]."
MOST_TREATMENTS = 100
UNIT_WORDS = ("bag", "bucket", "tray", "log", "block")

_MARGIN = re.compile(
    r"^\s*(?P<value>\d+(?:[.,]\d+)?)\s*(?P<unit>%|[a-z]+\.?|in\s+(?:100|a\s+hundred))\s*$",
    re.IGNORECASE,
)
_MARGIN_UNITS: dict[Outcome, tuple[MarginUnit, ...]] = {
    "yield": ("%", "g", "kg", "oz", "lb"),
    "contamination": ("in 100",),
    "flush drop": ("in 100",),
    "days to colonise": ("days",),
    "days to pins": ("days",),
}
_MARGIN_EXAMPLES: dict[Outcome, str] = {
    "yield": "“15 %” of the control, or a weight such as “40 g”",
    "contamination": "“5 in 100” (so many bags more or fewer lost of a hundred)",
    "flush drop": "“10 in 100” (so many hundredths of a flush more or less kept)",
    "days to colonise": "“2 days”",
    "days to pins": "“2 days”",
}


def read_trial(folder: Path) -> Trial:
    """Read the plan of a trial folder.

    Parameters
    ----------
    folder : pathlib.Path
        The trial folder; it holds ``trial.toml``.

    Returns
    -------
    Trial

    Raises
    ------
    Problems
        Everything that is wrong in the file, at once.

    Examples
    --------
    >>> from pathlib import Path
    >>> trial = read_trial(Path("data/demos/mixes"))
    >>> trial.design.blocks, trial.design.block
    (8, 'shelf')
    """
    path = folder / TRIAL_FILE
    if not path.is_file():
        what, mend = _absent(folder)
        raise Problems([Problem(file=TRIAL_FILE, what=what, mend=mend)])
    return check_trial(read_text(path))


def _absent(folder: Path) -> tuple[str, str]:
    """Say why there is no plan, and what to do."""
    if (folder / TRIAL_FILE).exists():
        return "is no file", "Move aside what has its name, and put the plan in its place."
    shown = tidy_text(str(folder))
    mend = f"Make one with: pinset new {typed(folder)}"
    if folder.is_dir():
        return "is not there", mend
    return f"is not there: there is no folder “{shown}”", mend


def check_trial(text: str, *, file: str = TRIAL_FILE) -> Trial:
    """Turn the text of a plan into a `Trial`.

    Parameters
    ----------
    text : str
        TOML.
    file : str
        Its name, for messages.

    Returns
    -------
    Trial

    Raises
    ------
    Problems
        Everything that is wrong, each with its key, what was found and what is allowed.

    Examples
    --------
    >>> from trials.problems import Problems
    >>> try:
    ...     check_trial("trial = {titel = 'Okara or bran'}")
    ... except Problems as found:
    ...     print(str(found.problems[-1])[:50])
    trial.toml, trial.titel: is not a word of the plan
    """
    problems: list[Problem] = []
    document = to_document(text, file)
    root = PlanTable(document, "", file, problems)
    trial = _trial(root, problems, file)
    root.refuse_unknown()
    if trial is None or problems:
        raise Problems(problems)
    return trial


def margin(text: object, outcome: Outcome) -> Margin | None:
    """Read a smallest difference worth having, or None when it is not one for this outcome.

    Examples
    --------
    >>> margin("15 %", "yield")
    Margin(value=15.0, unit='%')
    >>> margin("5 %", "contamination")
    Margin(value=5.0, unit='in 100')
    """
    found = _MARGIN.match(text) if isinstance(text, str) else None
    if found is None:
        return None
    value = float(found["value"].replace(",", "."))
    unit = _margin_unit(found["unit"].lower(), outcome)
    if value <= 0 or unit not in _MARGIN_UNITS[outcome] or not value < 1e6:
        return None
    if unit == "in 100" and value >= 100:
        return None
    return Margin(value=value, unit=unit)


def looks(found: object) -> int | tuple[dt.date, ...] | None:
    """Read how often the units were looked at, or None when it cannot be.

    Examples
    --------
    >>> looks(7), looks([dt.date(2026, 3, 9), dt.date(2026, 3, 2)]), looks("weekly")
    (7, (datetime.date(2026, 3, 2), datetime.date(2026, 3, 9)), None)
    """
    if isinstance(found, int) and not isinstance(found, bool):
        return found if 1 <= found <= 60 else None
    if not isinstance(found, list) or not found:
        return None
    days = [one.date() if isinstance(one, dt.datetime) else one for one in found]
    if not all(isinstance(one, dt.date) for one in days):
        return None
    return tuple(sorted(set(days)))


def _margin_unit(word: str, outcome: Outcome) -> MarginUnit | None:
    if word.startswith("in") or word in {"point", "points"}:
        return "in 100"
    if word == "%":
        return "%" if outcome == "yield" else "in 100"
    if word in {"day", "days", "d"}:
        return "days"
    return weight_unit(word)


def _trial(root: PlanTable, problems: list[Problem], file: str) -> Trial | None:
    root.whole("format", low=1, high=1, needed=True)
    top = root.table("trial", needed=True)
    treatments = _treatments(root.tables("treatments", needed=True), problems, file)
    design_table = root.table("design", needed=True)
    design = read_design(design_table, treatments) if design_table else None
    aim_table = root.table("aim", needed=True)
    aim = _aim(aim_table) if aim_table else None
    costs_table = root.table("costs")
    costs = _costs(costs_table) if costs_table else Costs()
    recipes = check_recipes(root.table("recipes"))
    room = check_room(root.table("room"))
    if top is None:
        return None
    header = _header(top)
    problems.extend(_misspelt_recipes(treatments, [one.name for one in recipes], file))
    if header is None or design is None or aim is None or costs is None or problems:
        return None
    return Trial(
        **header,  # type: ignore[arg-type]
        treatments=treatments,
        design=design,
        aim=aim,
        costs=costs,
        recipes=recipes,
        room=room,
    )


def _header(top: PlanTable) -> dict[str, object] | None:
    title = top.text("title", needed=True, example="Okara or wheat bran")
    flushes = top.whole("flushes", low=1, high=12, needed=True)
    optional = {
        "question": top.text("question", longest=1000),
        "species": top.text("species"),
        "strain": top.text("strain"),
        "place": top.text("place"),
        "grower": top.text("grower"),
        "unit": top.text("unit", longest=30, example="bag"),
        "start": top.date("start"),
        "blind": top.yes_or_no("blind"),
        "weights": top.choice("weights", list(GRAMS_IN), meaning=weight_unit),
        "flush_gap_days": top.whole("flush_gap_days", low=1, high=60),
        "looks": top.parsed("looks", looks, mend=_LOOKS),
        "invented": top.yes_or_no("invented"),
        "why_this_size": top.text("why_this_size", longest=1000),
        "look_alike": top.text("look_alike", longest=1000),
        "paid_by": top.text("paid_by", longest=1000),
    }
    top.refuse_unknown()
    if title is None or flushes is None:
        return None
    given = {key: value for key, value in optional.items() if value not in (None, "")}
    return {"title": title, "flushes": flushes, **given}


def _treatments(
    tables: list[PlanTable], problems: list[Problem], file: str
) -> tuple[Treatment, ...]:
    if len(tables) > MOST_TREATMENTS:
        what = f"there are {len(tables)} treatments"
        mend = f"A trial compares at most {MOST_TREATMENTS}; choose those that matter."
        problems.append(Problem(file=file, key="treatments", what=what, mend=mend))
        return ()
    read = []
    for table in tables:
        code = table.text("code", needed=True, longest=12, example="B")
        name = table.text("name", needed=True, longest=300, example="10 % wheat bran")
        control = table.yes_or_no("control")
        recipe = table.text("recipe")
        note = table.text("note", longest=1000)
        factors = table.pairs("factors")
        table.refuse_unknown()
        if code is not None and name is not None:
            read.append(
                Treatment(
                    code=code,
                    name=name,
                    control=bool(control),
                    recipe=recipe or None,
                    note=note or "",
                    factors=factors or (),
                )
            )
    if len(read) == len(tables):
        problems.extend(_treatment_problems(read, file))
        problems.extend(factor_problems(read, file))
    return tuple(read)


def _treatment_problems(treatments: list[Treatment], file: str) -> list[Problem]:
    found = []

    def add(what: str, mend: str) -> None:
        found.append(Problem(file=file, key="treatments", what=what, mend=mend))

    if len(treatments) < 2:
        add(
            f"a comparison needs two treatments or more, and there {_are(len(treatments))}",
            "Add another [[treatments]] table.",
        )
    for field in ("code", "name"):
        counts = Counter(str(getattr(one, field)).casefold() for one in treatments)
        twice = [word for word, count in counts.items() if count > 1]
        if twice:
            add(f"the {field} “{twice[0]}” stands twice", f"Give each treatment its own {field}.")
    controls = [one.code for one in treatments if one.control]
    if len(controls) != 1 and len(treatments) > 1:
        add(
            f"exactly one treatment is the one to compare with, and {_are(len(controls))} marked",
            "Write control = true in that one, and leave it out in the others.",
        )
    return found


def _misspelt_recipes(
    treatments: tuple[Treatment, ...], names: list[str], file: str
) -> list[Problem]:
    """Find names one slip away from a recipe; a recipe need not be written out."""
    found = []
    for number, one in enumerate(treatments, start=1):
        if one.recipe is None or one.recipe in names:
            continue
        meant = nearest(one.recipe, names, closeness=0.75)
        if meant is not None:
            found.append(
                Problem(
                    file=file,
                    key=f"treatments[{number}].recipe",
                    what=f"there is no table [recipes.{one.recipe}]",
                    mend=f"Did you mean “{meant}”? Otherwise add the table.",
                )
            )
    return found


def _are(count: int) -> str:
    return {0: "none is", 1: "one is"}.get(count, f"{count} are")


def _aim(table: PlanTable) -> Aim | None:
    outcome = table.choice("outcome", OUTCOMES, needed=True)
    claim = table.choice("claim", CLAIMS)
    confidence = table.number("confidence", low=0.5, high=0.999)
    asked = outcome or "yield"
    needed = claim in ("no worse", "same")
    worthwhile = table.parsed(
        "worthwhile",
        lambda found: margin(found, asked),
        mend=f"For {asked} write {_MARGIN_EXAMPLES[asked]}, in quotes.",
        needed=needed,
    )
    table.refuse_unknown()
    if outcome is None or (needed and worthwhile is None):
        return None
    return Aim(
        outcome=outcome,
        claim=claim or "better",
        worthwhile=worthwhile,
        confidence=confidence or 0.95,
    )


def _costs(table: PlanTable) -> Costs:
    costs = Costs(
        price_per_kg=table.number("price_per_kg", low=0, high=1e6),
        cost_per_bag=table.number("cost_per_bag", low=0, high=1e6),
        shelf_days_to_first=table.number("shelf_days_to_first", low=0, high=1000),
        shelf_days_per_flush=table.number("shelf_days_per_flush", low=0, high=1000),
        currency=table.text("currency", longest=12) or "",
    )
    table.refuse_unknown()
    return costs

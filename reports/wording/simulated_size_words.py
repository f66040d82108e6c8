"""How large a trial must be, found by rehearsing it: plain sentences and a table, by rule."""

from __future__ import annotations

import math

from analyses.rehearsing.simulated_size import SimulatedPoint, SimulatedSize
from reports.parts.blocks import Table
from reports.wording.grammar import counted, on_or_in, plural
from reports.wording.names import printable, shorten, unit_word
from reports.wording.numbers import number, step_for
from reports.wording.rehearsal_words import crop_line
from reports.wording.size_words import ODDS, chance, shows

__all__ = ["difference_words", "simulated_size_lines", "simulated_size_table"]


def difference_words(value: float, size: SimulatedSize) -> str:
    """Say a difference to what its rehearsals carry.

    Parameters
    ----------
    value : float
    size : SimulatedSize
    """
    step = step_for(max(size.planned.reach_error, abs(value) / 200), finest=0.1)
    text = number(abs(value), step)
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "1 day" if (text, size.unit) == ("1", "days") else f"{text} {size.unit}"


def simulated_size_lines(size: SimulatedSize) -> tuple[str, ...]:
    """Say what a trial of the planned size can see, and what the worthwhile difference takes.

    Parameters
    ----------
    size : SimulatedSize

    Returns
    -------
    tuple of str
        The answer first, then what it rests on.
    """
    planned = size.planned
    lines = [_headline(size)]
    if planned.power is not None and size.worthwhile is not None:
        lines.append(
            f"As planned it would {shows(size.trial.aim.claim)} "
            f"{difference_words(size.worthwhile, size)} about "
            f"{chance(planned.power)} (± {100 * planned.power_error:.0f} in 100)."
        )
    if size.needed is not None and size.needed.power is not None:
        lines.append(
            f"With {counted(size.needed.bags, unit_word(size.trial))} it would, about "
            f"{chance(size.needed.power)} (± {100 * size.needed.power_error:.0f} in 100)."
        )
    if math.isfinite(planned.width):
        lines.append(
            f"The range it gives would be about {difference_words(planned.width, size)} wide."
        )
    return (
        *lines,
        f"No formula covers this, so it was found by rehearsing {size.trials} trials for each "
        "number. What stands behind ± is how much the luck of the rehearsals leaves open (one "
        "standard error); more of them narrow it: --trials.",
        crop_line(size.assumptions, size.trial),
    )


def _headline(size: SimulatedSize) -> str:
    trial, planned = size.trial, size.planned
    unit, block = unit_word(trial), shorten(printable(trial.design.block), 24)
    blocks = len(trial.design.block_names)
    where = f" {on_or_in(block)} {counted(blocks, block)}" if blocks else ""
    odds = ODDS.get(round(size.wanted, 3)) or chance(size.wanted)
    have = f"With {counted(planned.bags, unit)}{where} you would"
    if planned.reach is None:
        return f"{have} not {shows(size.trial.aim.claim)} even the largest difference {odds}."
    told = f"{have} {shows(size.trial.aim.claim)} {difference_words(planned.reach, size)}"
    told += f" (± {_error(planned)}) {odds}"
    if size.worthwhile is None:
        return f"{told}."
    asked = difference_words(size.worthwhile, size)
    if size.bags_needed is None:
        return f"{told}; for {asked} you need more than twelve times as many {plural(unit)}."
    if size.bags_needed <= planned.bags:
        return f"{told}; for {asked} that is enough."
    return f"{told}; for {asked} you need about {size.bags_needed}."


def _error(point: SimulatedPoint) -> str:
    return number(point.reach_error, step_for(point.reach_error, finest=0.1))


def simulated_size_table(size: SimulatedSize) -> Table:
    """Give the rehearsed sizes as a table.

    Parameters
    ----------
    size : SimulatedSize
    """
    unit, odds = plural(unit_word(size.trial)).capitalize(), f"{100 * size.wanted:g} times in 100"
    columns = [unit, f"Seen, {size.unit}", "±", f"Wide, {size.unit}"]
    told = f"Seen: the smallest, {odds}. Wide: the whole range that would fit, on average."
    if size.worthwhile is not None:
        columns += ["Chance", "±"]
        told += f" Chance: to settle {difference_words(size.worthwhile, size)}."
    points = [size.planned, *([size.needed] if size.needed else [])]
    return Table(
        caption=told,
        columns=tuple(columns),
        rows=tuple(_cells(one) for one in points),
        numeric=tuple(True for _ in columns),
    )


def _cells(point: SimulatedPoint) -> tuple[str, ...]:
    step = step_for(max(point.reach_error, 1e-9), finest=0.1)
    cells = [
        str(point.bags),
        "–" if point.reach is None else number(point.reach, step),
        "–" if point.reach is None else number(point.reach_error, step),
        number(point.width, step),
    ]
    if point.power is not None:
        cells += [f"{100 * point.power:.0f} %", f"{100 * point.power_error:.0f} %"]
    return tuple(cells)

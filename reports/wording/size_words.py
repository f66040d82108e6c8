"""How large a trial must be, told in plain sentences and a table, by rule."""

from __future__ import annotations

import math
from collections.abc import Sequence

from reports.parts.blocks import Table
from reports.wording.grammar import counted, in_words, plural
from reports.wording.names import printable, shorten
from trials.measures import GRAMS_IN
from trials.signs.freedom import freedom_words
from trials.sizing.size_question import SizeAnswer
from trials.sizing.size_rows import Sizing
from trials.trial import Claim

__all__ = ["ODDS", "amount", "chance", "shows", "size_lines", "size_table", "what_varies"]

ODDS = {0.8: "four times out of five", 0.9: "nine times out of ten", 0.5: "every other time"}


def size_lines(sizing: Sizing) -> tuple[str, ...]:
    """Say what a trial of the planned size can see, and what the worthwhile difference takes.

    Parameters
    ----------
    sizing : Sizing

    Returns
    -------
    tuple of str
        The answer first, then what it rests on.
    """
    answer = sizing.answer
    lines = [_headline(sizing, answer)]
    if answer.power_now is not None and answer.question.worthwhile is not None:
        asked = amount(answer.question.worthwhile, sizing, asked=True)
        now = chance(answer.power_now)
        lines.append(f"As planned it would {_shown(sizing)} {asked} about {now}.")
    if len(sizing.rows) > 1:
        lines.append(_spread_of_rows(sizing))
    if math.isfinite(answer.width):
        lines.append(f"The range it gives would be about {amount(answer.width, sizing)} wide.")
    lines += _warnings(answer)
    return (*lines, *sizing.sources)


def _headline(sizing: Sizing, answer: SizeAnswer) -> str:
    question, unit = answer.question, _word(sizing.unit)
    design = question.rounds
    where = ""
    if sizing.block and design.blocks:
        where = f" {_on(sizing.block)} {counted(design.blocks * design.planned, sizing.block)}"
    elif design.bags_per_unit > 1:
        where = f" in {counted(answer.bags // design.bags_per_unit, 'batch')}"
        if design.unit == "grower":
            where = f" at {counted(design.planned, 'grower')}"
    odds = ODDS.get(round(question.power, 3)) or chance(question.power)
    have = f"With {counted(answer.bags, unit)}{where} you "
    if answer.reach is None:
        told = f"{have}would not {_shown(sizing)} even the largest difference {odds}"
    else:
        told = f"{have}would {_shown(sizing)} {amount(answer.reach, sizing)} {odds}"
    if question.worthwhile is None:
        return f"{told}."
    asked = amount(question.worthwhile, sizing, asked=True)
    if answer.bags_needed is None:
        return f"{told}; for {asked} no number of {plural(unit)} within reason is enough."
    enough = " at least" if answer.bags_needed > answer.bags else " only"
    return f"{told}; for {asked} you need{enough} {answer.bags_needed}."


def _on(block: str) -> str:
    from reports.wording.grammar import on_or_in

    return on_or_in(block)


def _word(unit: str) -> str:
    return shorten(printable(unit), 24) or "bag"


def shows(claim: Claim) -> str:
    """Say what a trial would show were its claim true; the margin follows.

    Parameters
    ----------
    claim : {"better", "no worse", "same"}
    """
    return {
        "better": "see a difference of",
        "no worse": "show that one just as good is worse by less than",
        "same": "show that one just as good differs by less than",
    }[claim]


def _shown(sizing: Sizing) -> str:
    return shows(sizing.answer.question.claim)


def amount(share: float, sizing: Sizing, *, bare: bool = False, asked: bool = False) -> str:
    """Say a difference: per cent with the weight where the mean is known, or bags in a hundred.

    Parameters
    ----------
    share : float
        As in `SizeQuestion`.
    sizing : Sizing
    bare : bool
        Without the weight.
    asked : bool
        Whether it is the difference asked about, whose weight keeps three figures; what is worked
        out has two, like its per cent.

    Returns
    -------
    str
    """
    hundred = 100 * share
    told = f"{hundred:.0f}" if hundred >= 10 else f"{hundred:.1f}".rstrip("0").rstrip(".")
    if sizing.answer.question.outcome == "contamination":
        return f"{told} {plural(_word(sizing.unit))} in 100"
    if sizing.mean is None or bare:
        return f"{told} %"
    weight = share * sizing.mean / GRAMS_IN[sizing.weights]
    weight = float(f"{weight:.3g}" if asked else f"{weight:.2g}")
    return f"{told} % ({weight:g} {sizing.weights})"


def chance(share: float) -> str:
    """Say a chance as how many times in ten, or in a hundred where that is too coarse.

    Examples
    --------
    >>> chance(0.62), chance(0.03), chance(0.999)
    ('six times in ten', '3 times in 100', 'more than 99 times in 100')
    """
    if share > 0.99:
        return "more than 99 times in 100"
    if share < 0.005:
        return "less than once in 100"
    if share < 0.1 or share > 0.9:
        times = round(100 * share)
        return "once in 100" if times == 1 else f"{times} times in 100"
    tenths = round(10 * share)
    return "once in ten" if tenths == 1 else f"{in_words(tenths)} times in ten"


def _spread_of_rows(sizing: Sizing) -> str:
    told = []
    for row in sizing.rows:
        reach = row.answer.reach
        seen = "nothing" if reach is None else amount(reach, sizing, bare=True)
        told.append(f"{seen} if {row.name}")
    return f"It depends on {what_varies(sizing)}: {'; '.join(told)}."


def what_varies(sizing: Sizing) -> str:
    """Say what the rows differ in.

    Parameters
    ----------
    sizing : Sizing
    """
    if sizing.varies:
        return sizing.varies
    units = plural(_word(sizing.unit))
    if sizing.answer.question.outcome == "contamination":
        return f"how many {units} are lost"
    return f"how {units} vary"


def _warnings(answer: SizeAnswer) -> list[str]:
    question, told = answer.question, []
    if answer.df < 12:
        told.append(
            f"That leaves {freedom_words(answer.df)}; a standard for field trials asks for 12 "
            "(EPPO PP 1/152)."
        )
    if question.outcome == "yield" and question.lost == 0:
        told.append(
            "This counts on no bag being lost. A lost bag counts as what it gave, mostly nothing, "
            "so even a few widen the range much: say how many with --loss."
        )
    return told


def size_table(sizing: Sizing) -> Table:
    """Give the answers as a table.

    Parameters
    ----------
    sizing : Sizing

    Returns
    -------
    Table
        One row for each way in which bags may vary.
    """
    answer = sizing.answer
    wanted = answer.question.worthwhile
    odds = f"{100 * answer.question.power:g} times in 100"
    told = f"With {counted(answer.bags, _word(sizing.unit))}. Seen: the smallest, {odds}. "
    told += "Wide: the whole range that would fit, on average."
    columns = ["If", "Seen", "Wide"]
    if wanted is not None:
        asked = amount(wanted, sizing, bare=True)
        columns += ["Chance", f"{plural(_word(sizing.unit)).capitalize()}"]
        told += f" The last two: the chance to see {asked}, and what that takes {odds}."
    return Table(
        caption=told,
        columns=tuple(columns),
        rows=tuple(_cells(row.name, row.answer, sizing) for row in sizing.rows),
        numeric=(False, *(True for _ in columns[1:])),
    )


def _cells(name: str, answer: SizeAnswer, sizing: Sizing) -> tuple[str, ...]:
    cells: Sequence[str] = (
        name,
        "–" if answer.reach is None else amount(answer.reach, sizing, bare=True),
        amount(answer.width, sizing, bare=True) if math.isfinite(answer.width) else "–",
    )
    if answer.power_now is None:
        return tuple(cells)
    needed = "–" if answer.bags_needed is None else str(answer.bags_needed)
    return (*cells, f"{100 * answer.power_now:.0f} %", needed)

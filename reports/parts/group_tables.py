"""Tables of a group: each grower beside all, checks of the verdict, what was recorded."""

from __future__ import annotations

import math

from analyses.pooling.answers import GroupAnswer, GrowerAnswer, PooledAnalysis, Reason
from reports.parts.blocks import Table
from reports.wording.grammar import capital, plural
from reports.wording.group_words import scene_between
from reports.wording.hedging import VERDICT_WORDS
from reports.wording.names import printable, unit_word
from reports.wording.numbers import number
from reports.wording.ranges import bare_range, fits
from reports.wording.speech import Scene, set_scene
from trials.trial import Trial

__all__ = ["checks_of", "grower_table", "reasons_told", "records_table", "stands_apart"]


def grower_table(answer: GroupAnswer, trial: Trial) -> Table:
    """Show each grower's own answer next to the same with the help of the others.

    Parameters
    ----------
    answer : GroupAnswer
    trial : Trial
        The plan of the group.
    """
    scene = set_scene(answer.finding, trial)
    unit = f"{scene.measure.word}{scene.tail}".strip() or scene.speech.what
    by_batch = answer.counted == "batch" and answer.finding.estimate.outcome != "yield"
    own = plural("batch" if by_batch else unit_word(trial)).capitalize()
    return Table(
        caption=capital(f"{scene.it} beside {scene.control}, by grower: difference ({unit})"),
        columns=("Grower", own, "Own answer", "Range that fits", "With the others", "Range"),
        rows=tuple(_grower_row(one, answer, trial) for one in answer.growers),
        numeric=(False, True, True, True, True, True),
    )


def _grower_row(one: GrowerAnswer, answer: GroupAnswer, trial: Trial) -> tuple[str, ...]:
    own, drawn = one.own, one.drawn
    cells = [printable(one.shown), str(own.bags)]
    if own.withheld or not math.isfinite(own.low + own.high):
        plain = set_scene(answer.finding, trial)
        cells += [_signed(own.value / plain.measure.per, plain.span.step), "–"]
    else:
        cells += _value_and_range(
            scene_between(answer.finding, trial, own.value, own.low, own.high)
        )
    if drawn is None:
        return (*cells, "–", "–")
    scene = scene_between(answer.finding, trial, drawn.value, drawn.low, drawn.high)
    return (*cells, *_value_and_range(scene))


def _value_and_range(scene: Scene) -> list[str]:
    span = scene.span
    low, high = _signed(span.low, span.step), _signed(span.high, span.step)
    return [_signed(span.value, span.step), f"{low} to {high}"]


def _signed(value: float, step: float) -> str:
    told = number(value, step)
    return f"+{told}" if value > 0 and told.strip("0.") else told


def stands_apart(answer: GroupAnswer, trial: Trial) -> tuple[str, ...]:
    """Name the growers whose answer is not that of the others, even among so many.

    Parameters
    ----------
    answer : GroupAnswer
    trial : Trial
        The plan of the group.
    """
    told = []
    scene = set_scene(answer.finding, trial)
    for one in answer.growers:
        if not one.p_holm < 1 - answer.finding.estimate.level:
            continue
        away = one.away / scene.measure.per
        word = scene.word("more" if away > 0 else "less")
        amount = scene.measure.say(away, scene.span.step)
        told.append(
            f"{printable(one.shown)} stands apart: {amount} {word}{scene.tail} than the other "
            "growers let expect. Looked at afterwards."
        )
    return tuple(told)


def checks_of(answer: GroupAnswer) -> Table | None:
    """Show what becomes of the verdict when something is done another way.

    Parameters
    ----------
    answer : GroupAnswer
    """
    finding = answer.finding
    if not finding.checks:
        return None
    rows = tuple(
        (capital(check.name), VERDICT_WORDS.get(check.verdict, check.verdict),
         "yes" if check.agrees else "no")
        for check in finding.checks
    )  # fmt: skip
    return Table(
        caption=f"The verdict (“{VERDICT_WORDS[finding.verdict]}”) done another way",
        columns=("How", "Verdict then", "The same"),
        rows=rows,
        numeric=(False, False, False),
    )


def reasons_told(answer: GroupAnswer, trial: Trial) -> tuple[str, ...]:
    """Say of each recorded fact whether it goes with how growers differ.

    Parameters
    ----------
    answer : GroupAnswer
    trial : Trial
        The plan of the group.
    """
    return tuple(_reason(one, answer, trial) for one in answer.reasons)


def _reason(one: Reason, answer: GroupAnswer, trial: Trial) -> str:
    name = capital(printable(one.name))
    known = f"known of {one.growers} growers"
    if not one.p_holm < 1 - answer.finding.estimate.level:
        return f"{name} ({known}): nothing shows that it goes with the difference."
    scene = set_scene(answer.finding, trial)
    per = scene.measure.per
    if one.kind == "number":
        slope = scene_between(answer.finding, trial, one.slope, one.low, one.high)
        about = (
            f"{slope.amount(slope.span.value)} {slope.word('more' if one.slope > 0 else 'less')}"
        )
        each = f"for each {one.unit or 'one'} more"
        return (
            f"{name} ({known}): about {about}{slope.tail} {each}; {bare_range(slope)} fits. "
            "A hint, not a cause."
        )
    parts = [
        f"{printable(level)} {_signed(value / per, scene.span.step)} {scene.measure.word}".strip()
        + f" ({count})"
        for level, value, count in one.values
    ]
    apart = ""
    if len(one.values) == 2:
        (first, base, _), (second, value, _) = one.values
        gap = scene_between(answer.finding, trial, value - base, one.low, one.high)
        apart = f"; with {printable(second)} {fits(gap)} than with {printable(first)} fits"
    return f"{name} ({known}): {', '.join(parts)}{apart}. A hint, not a cause."


def records_table(analysis: PooledAnalysis) -> Table:
    """Show what each grower brought.

    Parameters
    ----------
    analysis : PooledAnalysis
    """
    units = plural(unit_word(analysis.together.reference))
    return Table(
        caption="Growers, losses and flushes",
        columns=("Grower", units.capitalize(), "Lost to contamination", "Flushes", "Weighed in"),
        rows=tuple(
            (printable(one.shown), str(one.bags), str(one.lost), str(one.flushes), one.weights)
            for one in analysis.notes
        ),
        numeric=(False, True, True, True, False),
    )

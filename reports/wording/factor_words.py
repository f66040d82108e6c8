"""What each factor of combined treatments does, in plain sentences, by rule."""

from __future__ import annotations

from analyses.layouts.factorial import FactorEffect
from reports.wording.grammar import capital, counted, listed, plural
from reports.wording.names import printable, shorten, unit_word
from reports.wording.numbers import measure, round_span
from trials.trial import Trial

__all__ = ["effect_range", "factor_intro", "factor_lines", "level_name", "on_factor"]

_LONGEST = 32


def level_name(text: str) -> str:
    """Give a factor or a level as it is printed.

    Parameters
    ----------
    text : str
        The grower's word.
    """
    return shorten(printable(text), _LONGEST)


def factor_intro(trial: Trial) -> str:
    """Say that treatments were combined, and how far to take what is told of the parts.

    Parameters
    ----------
    trial : Trial
    """
    names = listed(level_name(one) for one in trial.factors)
    return (
        f"Each treatment combines {names}, so each of these can be told by itself. This was not "
        "the aim: treat it as a hint for the next trial."
    )


def factor_lines(effects: tuple[FactorEffect, ...], trial: Trial) -> tuple[str, ...]:
    """Tell main effects first, then whether one factor depends on another.

    Parameters
    ----------
    effects : tuple of FactorEffect
    trial : Trial

    Returns
    -------
    tuple of str
        One line a main effect, and one a pair of levels and levels.
    """
    main = [one for one in effects if len(one.factors) == 1 and not one.at]
    pairs = [one for one in effects if len(one.factors) == 2]
    lines = [_main(one, trial) for one in main]
    return (*lines, *(line for one in pairs if (line := _pair(one, effects, trial))))


def effect_range(effect: FactorEffect, trial: Trial) -> tuple[str, str, str]:
    """Give the best guess, the range as it is said, and which way it points.

    Parameters
    ----------
    effect : FactorEffect
    trial : Trial

    Returns
    -------
    tuple of str
        Such as ``60 g``, ``between 40 g and 80 g more`` and ``more``; ``either`` where the range
        holds nothing at all.
    """
    unit = measure(effect.unit, trial.weights)
    value, low, high = (one / unit.per for one in (effect.value, effect.low, effect.high))
    told = round_span(value, low, high, finest=unit.finest, marks=(0.0,))
    about = unit.say(told.value, told.step)
    if effect.low > 0 or effect.high < 0:
        word = "more" if effect.low > 0 else "less"
        near, far = sorted((abs(told.low), abs(told.high)))
        span = f"between {unit.say(near, told.step)} and {unit.say(far, told.step)} {word}"
        return about, span, word
    less, more = unit.say(told.low, told.step), unit.say(told.high, told.step)
    return about, f"anything from {less} less to {more} more", "either"


def on_factor(effect: FactorEffect, trial: Trial) -> str:
    """Say over what a difference was averaged, or where it holds; empty for one factor alone.

    Parameters
    ----------
    effect : FactorEffect
    trial : Trial
    """
    if effect.at:
        return f"with {_named(*effect.at)}"
    others = [level_name(one) for one in trial.factors if one not in effect.factors]
    return f"averaged over {listed(others)}" if others else ""


def _named(factor: str, level: str) -> str:
    return f"{level_name(factor)} {level_name(level)}"


def _main(effect: FactorEffect, trial: Trial) -> str:
    it, base = level_name(effect.levels[0]), level_name(effect.against[0])
    about, span, word = effect_range(effect, trial)
    per = f" per {unit_word(trial)}"
    over = on_factor(effect, trial)
    rests = f"; this rests on {counted(effect.units, effect.unit_counted)}"
    lead = capital(level_name(effect.factors[0]))
    if word == "either":
        return f"{lead}, {over}: {span}{per} with {it} than with {base} fits{rests}."
    return f"{lead}, {over}: {it} gave about {about} {word}{per} than {base}; {span} fits{rests}."


def _pair(effect: FactorEffect, effects: tuple[FactorEffect, ...], trial: Trial) -> str:
    """Tell an interaction by what the first factor did at either level of the second."""
    (one, other), (level, there), (base, here) = effect.factors, effect.levels, effect.against
    if other == trial.design.batch_factor or one != trial.design.batch_factor:
        told = one, other, level, base, here, there
    else:  # told by what was given to bags, which is known better
        told = other, one, there, here, base, level
    return capital(_simple(told, effects, trial)) + _change(effect, told, trial)


def _simple(
    told: tuple[str, ...], effects: tuple[FactorEffect, ...], trial: Trial
) -> str:  # fmt: skip
    factor, other, level, base, here, there = told
    found = {
        one.at[1]: one
        for one in effects
        if one.at and one.factors == (factor,) and one.levels == (level,) and one.at[0] == other
    }
    sides = [effect_range(found[at], trial)[1:] for at in (here, there) if at in found]
    it, against = level_name(level), level_name(base)
    if len(sides) < 2:
        return f"{it} against {against}: "
    (first, way), (second, way_there) = sides
    where, elsewhere = _named(other, here), _named(other, there)
    if way == way_there != "either":
        did = "better" if way == "more" else "worse"
        either = "either" if len(trial.levels(other)) == 2 else f"{where} and with {elsewhere}"
        kind = f" {level_name(other)}" if either == "either" else ""
        return (
            f"{it} did {did} than {against} with {either}{kind} ({first} with "
            f"{level_name(here)}, {second} with {level_name(there)}). "
        )
    return (
        f"{_one_side(it, against, where, first, way)} {_other_side(elsewhere, second, way_there)} "
    )


def _one_side(it: str, base: str, where: str, span: str, way: str) -> str:
    if way == "either":
        return f"With {where} this trial cannot tell {it} from {base} ({span} fits)."
    did = "better" if way == "more" else "worse"
    return f"{it} did {did} than {base} with {where} ({span})."


def _other_side(where: str, span: str, way: str) -> str:
    if way == "either":
        return f"With {where} it cannot be told ({span} fits)."
    return f"With {where} it did {'better' if way == 'more' else 'worse'} ({span})."


def _change(effect: FactorEffect, told: tuple[str, ...], trial: Trial) -> str:
    """Say how much the difference changes; an interaction is the same either way round."""
    _, other, _, _, here, there = told
    _, span, way = effect_range(effect, trial)
    where = f"with {_named(other, there)} than with {_named(other, here)}"
    if way == "either":
        return (
            f"Whether that changes with {level_name(other)} is open: {span} {where} fits these "
            f"{plural(unit_word(trial))}."
        )
    return f"That changes with {level_name(other)}: {span} {where}."

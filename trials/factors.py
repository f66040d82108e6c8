"""Factorial treatments: combinations of several things, each at several levels."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from trials.problems import Problem, one_of
from trials.trial import Treatment

__all__ = ["factor_problems", "is_crossed"]


def factor_problems(treatments: Sequence[Treatment], file: str) -> list[Problem]:
    """Find what is wrong with the factors of the treatments taken together.

    Parameters
    ----------
    treatments : sequence of Treatment
    file : str
        The name of the plan, for messages.

    Returns
    -------
    list of Problem
        Empty where no treatment has factors.
    """
    named = [{name for name, _ in one.factors} for one in treatments]
    every = list(dict.fromkeys(name for one in treatments for name, _ in one.factors))
    found: list[Problem] = []

    def add(number: int, what: str, mend: str) -> None:
        key = f"treatments[{number}].factors" if number else "treatments"
        found.append(Problem(file=file, key=key, what=what, mend=mend))

    if not every:
        return found
    for number, names in enumerate(named, start=1):
        missing = [name for name in every if name not in names]
        if missing:
            mend = "Give every treatment a level of every factor, or none of them any."
            add(number, f"has no level of {one_of(missing)}", mend)
    if found:
        return found
    for name in every:
        if len({one.level(name).casefold() for one in treatments}) < 2:
            mend = "Give it another level in some treatment, or take the factor out."
            add(0, f"the factor “{name}” has the same level everywhere", mend)
    levels = Counter(tuple(one.level(name).casefold() for name in every) for one in treatments)
    if max(levels.values()) > 1:
        told = ", ".join(levels.most_common(1)[0][0])
        add(0, f"two treatments have the same levels ({told})", "Each combination stands once.")
    return found


def is_crossed(treatments: Sequence[Treatment]) -> bool:
    """Whether the treatments are every combination of the levels of two factors or more.

    Parameters
    ----------
    treatments : sequence of Treatment
    """
    names = [name for name, _ in treatments[0].factors]
    if len(names) < 2 or any(len(one.factors) != len(names) for one in treatments):
        return False
    combinations = 1
    for name in names:
        combinations *= len({one.level(name) for one in treatments})
    return combinations == len(treatments)

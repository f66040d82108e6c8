"""Sentences about a group: on average, alike or not, and what one more grower should expect."""

from __future__ import annotations

import math
from dataclasses import replace

from analyses.finding import Finding
from analyses.pooling.answers import GroupAnswer, PooledAnalysis
from reports.wording.grammar import capital, counted, in_words, plural
from reports.wording.headlines import headline, hedge_of
from reports.wording.names import unit_word
from reports.wording.ranges import fits
from reports.wording.speech import Scene, set_scene
from reports.words import evidence
from trials.trial import Trial

__all__ = [
    "OUTCOME_HEADINGS",
    "alike_or_not",
    "expected_ahead",
    "group_basis",
    "group_evidence",
    "group_headline",
    "group_next",
    "group_sentence",
    "in_ten",
    "scene_between",
    "these_trials",
]

OUTCOME_HEADINGS = {
    "yield": "Yield",
    "flush drop": "Kept from flush to flush",
    "contamination": "Losses to contamination",
}
"""What a number of the group is about, to stand at the head of a sentence."""


_SPEECH = (
    ("This trial cannot", "These trials cannot"),
    ("this trial cannot", "these trials cannot"),
    ("this trial can tell", "these trials can tell"),
    ("this trial shows", "these trials show"),
    ("in this trial", "in these trials"),
)
_SURE_ENOUGH = 0.8


def these_trials(text: str) -> str:
    """Turn a sentence about one trial into one about several.

    Examples
    --------
    >>> these_trials("This trial cannot tell whether A would give more than B.")
    'These trials cannot tell whether A would give more than B.'
    """
    for one, several in _SPEECH:
        text = text.replace(one, several)
    return text


def group_headline(finding: Finding, trial: Trial) -> str:
    """Give the verdict of a group in one sentence.

    Parameters
    ----------
    finding : Finding
        Of the group; its units are growers.
    trial : Trial
        The plan of the group.
    """
    told = these_trials(headline(finding, trial))
    if not finding.planned or told.startswith("These trials"):
        return told
    it = set_scene(finding, trial).it
    told = it + told[len(it) :] if told.startswith(capital(it)) else told[:1].lower() + told[1:]
    return f"On average over {in_words(finding.estimate.units)} growers, {told}"


def group_evidence(
    finding: Finding, trial: Trial, *, explain: bool = False, among_others: bool = False
) -> str:
    """Give the numbers behind the verdict of a group.

    Parameters
    ----------
    finding : Finding
    trial : Trial
        The plan of the group.
    explain : bool
        Whether to say what an interval is.
    among_others : bool
        Whether it stands beside others of its kind, and so names its treatment.
    """
    return these_trials(evidence(finding, trial, explain=explain, among_others=among_others))


def group_sentence(answer: GroupAnswer, trial: Trial) -> str:
    """Tell the answer about one treatment in full.

    Parameters
    ----------
    answer : GroupAnswer
    trial : Trial
        The plan of the group.
    """
    finding = answer.finding
    parts = (
        group_headline(finding, trial),
        group_evidence(finding, trial),
        alike_or_not(answer),
        expected_ahead(answer, trial),
        group_next(answer, trial),
    )
    return " ".join(part for part in parts if part)


def alike_or_not(answer: GroupAnswer) -> str:
    """Say whether the difference is the same for all growers, beyond luck.

    Parameters
    ----------
    answer : GroupAnswer
    """
    growers = len(answer.growers)
    if answer.differs == "yes":
        return "Growers differ in this by more than luck would make them."
    if answer.differs == "cannot be told":
        return "Whether growers differ in this cannot be told."
    few = f"{in_words(growers)} growers could miss a difference"
    return f"Nothing shows that growers differ in this by more than luck; {few}."


def expected_ahead(answer: GroupAnswer, trial: Trial) -> str:
    """Say what one more grower should expect, and how likely that is worth it.

    Parameters
    ----------
    answer : GroupAnswer
    trial : Trial
        The plan of the group.
    """
    ahead = answer.prediction
    if ahead is None:
        return ""
    middle = float(ahead.draws[len(ahead.draws) // 2])
    scene = scene_between(answer.finding, trial, middle, ahead.low, ahead.high)
    told = (
        f"One more grower like these should expect {scene.it} to {scene.speech.bare} "
        f"{fits(scene)} than {scene.control}."
    )
    return f"{told} {_how_likely(answer, scene)}"


def _how_likely(answer: GroupAnswer, scene: Scene) -> str:
    finding, chance = answer.finding, answer.chance_worthwhile
    if math.isnan(chance):
        good = scene.word(scene.good)
        return f"The chance that it is any {good} is {in_ten(answer.chance_better)}."
    if finding.claim == "better":
        what = "that it is enough to be worth changing for"
    elif finding.claim == "no worse":
        what = "that it stays within what you allowed"
    else:
        what = "that it is less than you said would matter"
    return f"The chance {what} is {in_ten(chance)}."


def in_ten(chance: float) -> str:
    """Say a chance as so many times in ten, in a hundred where it is near the ends.

    Examples
    --------
    >>> in_ten(0.72), in_ten(0.97), in_ten(0.004), in_ten(0.999)
    ('about 7 in 10', 'about 97 in 100', 'less than 1 in 100', 'more than 99 in 100')
    """
    if chance < 0.01:
        return "less than 1 in 100"
    if chance > 0.99:
        return "more than 99 in 100"
    if 0.1 <= chance <= 0.9:
        return f"about {round(10 * chance)} in 10"
    return f"about {round(100 * chance)} in 100"


def scene_between(finding: Finding, trial: Trial, value: float, low: float, high: float) -> Scene:
    """Make another range of the same difference ready to be told.

    Parameters
    ----------
    finding : Finding
        Of the group.
    trial : Trial
        The plan of the group.
    value, low, high : float
        In the unit of the estimate.
    """
    estimate = replace(finding.estimate, value=value, low=low, high=high)
    return set_scene(replace(finding, estimate=estimate), trial)


def group_basis(analysis: PooledAnalysis) -> str:
    """Say how many growers and bags the answer rests on, and how many were lost.

    Parameters
    ----------
    analysis : PooledAnalysis
    """
    trial = analysis.together.reference
    word = unit_word(trial)
    bags, lost = sum(one.bags for one in analysis.notes), sum(one.lost for one in analysis.notes)
    told = f"{counted(len(analysis.notes), 'grower')}, {counted(bags, word)} in all; "
    told += "each grower drew the layout by lot" + (", labels blind." if trial.blind else ".")
    if analysis.answers and analysis.answers[0].counted == "batch":
        told += f" Batches are what counts, since the {plural(word)} of a batch share its luck."
    gone = "None was lost to contamination." if not lost else (
        f"{counted(lost, word)} {'was' if lost == 1 else 'were'} lost to contamination."
    )  # fmt: skip
    left = len(analysis.together.left_out)
    out = f" {counted(left, 'grower')} more took part but {'is' if left == 1 else 'are'} not in it."
    return f"{told} {gone}{out if left else ''}"


def group_next(answer: GroupAnswer, trial: Trial) -> str:
    """Say what to do next.

    Parameters
    ----------
    answer : GroupAnswer
    trial : Trial
        The plan of the group.
    """
    scene = set_scene(answer.finding, trial)
    it, control = scene.it, scene.control
    action = hedge_of(scene).action
    if action == "repeat":
        return _more(answer)
    if action == "adopt":
        return _adopt(answer, it)
    return {
        "stop": f"Next: stop here and keep {control}.",
        "choose": f"Next: choose between {it} and {control} by price and work.",
        "note": "Next: if it matters to you, make it the aim of the next trial.",
        "redesign": "Next: find more growers who try both side by side.",
    }[action]


def _adopt(answer: GroupAnswer, it: str) -> str:
    chance = answer.chance_worthwhile
    chance = answer.chance_better if math.isnan(chance) else chance
    if answer.differs == "yes" or not chance >= _SURE_ENOUGH:
        return (
            f"Next: try {it} beside your own mix first, because what holds on average need not "
            "hold for each grower."
        )
    return f"Next: change to {it}, if its price and work suit you."


def _more(answer: GroupAnswer) -> str:
    more = answer.more
    if more is None or more.wanted is None:
        return (
            "Next: choose by price and work. More than ten times as many growers as now would be "
            "needed to settle it 8 times in 10; that is a rough guess."
        )
    extra = more.wanted - more.now
    return (
        f"Next: {in_words(extra)} more {'grower' if extra == 1 else 'growers'} ({more.wanted} in "
        "all) would settle it 8 times in 10. That is a rough guess: it takes new growers to be "
        "like these."
    )

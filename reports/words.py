"""The sentences that tell a finding, built by rule.

The verdict is opened by `wording.headlines`, the numbers follow here, `wording.next_step` ends.
"""

from __future__ import annotations

import math

from analyses.finding import Finding
from reports.wording.grammar import counted, full_stop, odds, plural
from reports.wording.headlines import headline
from reports.wording.names import unit_word
from reports.wording.next_step import next_step
from reports.wording.numbers import round_span
from reports.wording.ranges import bare_range, fits
from reports.wording.speech import Scene, margin_text, set_scene
from trials.trial import Trial

__all__ = ["basis", "evidence", "headline", "margin", "sentence"]

_ALL = 100.0
"""Nothing can be less by more than all of it, in %."""


def sentence(finding: Finding, trial: Trial, *, explain: bool = False) -> str:
    """Tell a finding in full: which, by how much, how sure, on what, and what now.

    Parameters
    ----------
    finding : Finding
        The judged estimate.
    trial : Trial
        The plan that it belongs to.
    explain : bool
        Whether to say what an interval is; wanted once on a page.

    Returns
    -------
    str
        Plain sentences without markup.
    """
    parts = (
        headline(finding, trial),
        evidence(finding, trial, explain=explain),
        basis(finding),
        next_step(finding, trial),
    )
    return " ".join(part for part in parts if part)


def evidence(
    finding: Finding, trial: Trial, *, explain: bool = False, among_others: bool = False
) -> str:
    """Give the numbers behind a verdict: size, range, and the margin it was held against.

    Parameters
    ----------
    finding : Finding
        The judged estimate.
    trial : Trial
        The plan that it belongs to.
    explain : bool
        Whether to say what an interval is.
    among_others : bool
        Whether it stands beside others of its kind: then it names its treatment, and the margin
        that is the same for all is left to `margin`.
    """
    scene = set_scene(finding, trial)
    if finding.verdict == "withheld":
        return _described(scene)
    named = among_others or not finding.planned
    parts = [_zero_events(scene), _size(scene, explain=explain, named=named), _share(scene)]
    if finding.planned and not among_others:
        parts.append(_margin(scene))
    return " ".join(part for part in parts if part)


def margin(finding: Finding, trial: Trial) -> str:
    """Say the margin that a planned finding was held against; empty where there is none.

    Parameters
    ----------
    finding : Finding
        The judged estimate.
    trial : Trial
        The plan that it belongs to.
    """
    return _margin(set_scene(finding, trial)) if finding.planned else ""


def basis(finding: Finding) -> str:
    """Say how many independent units a finding rests on.

    Parameters
    ----------
    finding : Finding
        The judged estimate.
    """
    estimate = finding.estimate
    if estimate.units < 1:
        return ""
    return f"This rests on {counted(estimate.units, estimate.unit_counted)}."


def _size(scene: Scene, *, explain: bool, named: bool) -> str:
    """Say the size with its range; the names are said again where no headline said them."""
    finding = scene.finding
    explained = f" ({_explanation(scene)})" if explain else ""
    fit = f"fits these {_units(scene)}{explained}"
    over = "Counting only those that fruited: " if "fruited" in finding.estimate.estimand else ""
    if scene.direction == "either":
        against = "" if not named else f" with {scene.it} than with {scene.control}"
        return full_stop(f"{over}{fits(scene)}{against} {fit}")
    about = f"{scene.amount(scene.span.value)} {scene.word(scene.direction)}{scene.tail}"
    it, against = ("it", "") if not named else (scene.it, f" than {scene.control}")
    return full_stop(
        f"{over}{it} {scene.speech.verb} about {about}{against}: {bare_range(scene)} {fit}"
    )


def _units(scene: Scene) -> str:
    return plural(unit_word(scene.trial))


def _explanation(scene: Scene) -> str:
    estimate = scene.finding.estimate
    family = (estimate.low, estimate.high) != (estimate.low_alone, estimate.high_alone)
    held = "all such ranges of a trial hold the truth" if family else "such ranges hold the truth"
    return f"{odds(estimate.level)} {held}"


def _share(scene: Scene) -> str:
    percent = scene.finding.estimate.percent
    if percent is None or scene.direction == "either":
        return ""
    if not all(math.isfinite(part) for part in (percent.value, percent.low, percent.high)):
        return ""
    word = scene.word(scene.direction)
    told = round_span(percent.value, percent.low, percent.high, finest=1.0, marks=(0.0,))
    if told.low * told.high <= 0:
        return f"That is about {told.write(told.value)} % {word}."
    near, far = sorted((told.low, told.high), key=abs)
    if scene.direction == "less":
        far = max(far, -_ALL)
    return (
        f"That is about {told.write(told.value)} % {word} "
        f"(between {told.write(near)} % and {told.write(far)} %)."
    )


def _margin(scene: Scene) -> str:
    finding = scene.finding
    if finding.worthwhile is None:
        return ""
    if finding.claim == "no worse":
        worse = scene.word("less" if scene.good == "more" else "more")
        return f"You allowed {margin_text(scene, worse)}."
    if finding.claim == "same":
        return f"You said {margin_text(scene)} would matter."
    margin = margin_text(scene, scene.word(scene.good) if not scene.measure.word else "")
    told = f"You said {margin} would be worth changing for"
    if finding.verdict == "shown, size open":
        return f"{told}; this trial shows a gain, but not yet that it is that big."
    return f"{told}."


def _zero_events(scene: Scene) -> str:
    """Say that nothing was lost on either side, with the counts."""
    means = scene.finding.means
    if scene.finding.estimate.outcome != "contamination" or len(means) != 2:
        return ""
    if any(mean.value != 0 for mean in means):
        return ""
    control, it = means
    if scene.finding.estimate.unit_counted == "batch":
        return (
            f"No {unit_word(scene.trial)} was lost in {counted(it.n, 'batch')} with {scene.it}, "
            f"nor in {control.n} with {scene.control}; that is luck as well as care."
        )
    return (
        f"None of {it.n} was lost with {scene.it} and none of {control.n} with {scene.control}; "
        "that is luck as well as care."
    )


def _described(scene: Scene) -> str:
    """Describe both sides where nothing can be inferred."""
    parts = []
    told = [mean for mean in scene.finding.means if math.isfinite(mean.value)]
    if len(told) == 2:
        names = {scene.finding.estimate.treatment: scene.it}
        said = [
            f"{scene.measure.say(mean.value / scene.measure.per, _plain_step(mean.value))}"
            f"{scene.tail} with {names.get(mean.treatment, scene.control)}"
            for mean in told
        ]
        parts.append(f"These {_units(scene)} {scene.speech.verb} {said[1]} and {said[0]}.")
        parts.append("That describes them; it cannot say what the next ones would do.")
    reason = full_stop(scene.finding.estimate.withheld)
    if reason and reason != headline(scene.finding, scene.trial):
        parts.append(reason)
    return " ".join(parts)


def _plain_step(value: float) -> float:
    """Three figures, for a mean without an interval."""
    if value == 0 or not math.isfinite(value):
        return 1.0
    return float(10.0 ** (math.floor(math.log10(abs(value))) - 2))

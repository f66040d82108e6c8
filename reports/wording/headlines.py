"""The opening sentence of a finding: the verdict in fixed words.

Each pair of claim and verdict has its words here and nowhere else. A planned result and one
looked at afterwards never share them.
"""

from __future__ import annotations

from analyses.finding import Finding
from reports.wording.grammar import capital
from reports.wording.speech import Scene, set_scene
from trials.trial import Trial

__all__ = ["EXPLORED", "headline"]

EXPLORED = "Looked at afterwards; treat as a hint for the next trial."


def headline(finding: Finding, trial: Trial) -> str:
    """Give the verdict in one sentence.

    Parameters
    ----------
    finding : Finding
        The judged estimate.
    trial : Trial
        The plan that it belongs to.
    """
    scene = set_scene(finding, trial)
    if finding.verdict == "withheld":
        return _withheld_headline(scene)
    if not finding.planned:
        return EXPLORED
    by_claim = {"better": _better, "no worse": _no_worse, "same": _same}
    return capital(by_claim[finding.claim](scene))


def _better(scene: Scene) -> str:
    it, control, verdict = scene.it, scene.control, scene.finding.verdict
    good = f"{it} {scene.than(scene.good)} {control}"
    if verdict == "shown":
        return f"{good}, and by enough to matter." if scene.finding.worthwhile else f"{good}."
    if verdict == "shown, size open":
        size = scene.speech.open_size.format(scene.word(scene.good))
        return f"{good}; {size} is open."
    if verdict == "ruled out":
        return _better_ruled_out(scene, good)
    bare = _bare(scene, scene.good)
    return f"This trial cannot tell whether {it} {bare} {control}."


def _better_ruled_out(scene: Scene, good: str) -> str:
    if scene.is_bad:
        return f"{scene.it} {_opposite(scene)} {scene.control}."
    if scene.is_good:
        return f"{good}, but by less than you said would matter."
    if scene.finding.worthwhile is None:
        return f"{scene.it} gained nothing over {scene.control} in this trial."
    if _inside(scene):
        return _smaller(scene)
    return f"{scene.it} did not gain enough over {scene.control} to matter."


def _no_worse(scene: Scene) -> str:
    it, control, verdict = scene.it, scene.control, scene.finding.verdict
    worse = f"{it} {_opposite(scene)} {control}"
    if verdict == "ruled out":
        return f"{worse}, and by more than you allowed."
    if verdict == "shown" and scene.is_good:
        return f"{it} {scene.than(scene.good)} {control}."
    if verdict == "shown" and scene.is_bad:
        return f"{worse}, but by less than you allowed."
    if verdict == "shown":
        return _at_most(scene)
    if scene.is_bad:
        return f"{worse}; whether by more than you allowed is open."
    bare = _bare(scene, "less" if scene.good == "more" else "more")
    return f"This trial cannot tell whether {it} {bare} {control} by more than you allowed."


def _same(scene: Scene) -> str:
    it, control, verdict = scene.it, scene.control, scene.finding.verdict
    told = f"{it} {scene.than(scene.direction)} {control}"
    if verdict == "shown" and scene.direction == "either":
        return _smaller(scene)
    if verdict == "shown":
        return f"{told}, but by less than you said would matter."
    if verdict == "ruled out":
        return f"{told}, and by enough to matter."
    if scene.direction != "either":
        return f"{told}; whether by enough to matter is open."
    return f"This trial cannot tell whether {it} and {control} differ by enough to matter."


def _smaller(scene: Scene) -> str:
    return (
        f"Any difference between {scene.it} and {scene.control} is smaller than the one "
        "you said would matter."
    )


def _at_most(scene: Scene) -> str:
    """Say the bound on the worse side: lost at most 6 more in a hundred."""
    bad_limit = scene.span.low if scene.good == "more" else scene.span.high
    word = scene.word("less" if scene.good == "more" else "more")
    return (
        f"{scene.it} {scene.speech.verb} at most {scene.amount(bad_limit)} {word}"
        f"{scene.tail} than {scene.control}, as far as this trial can tell."
    )


def _opposite(scene: Scene) -> str:
    return scene.than("less" if scene.good == "more" else "more")


def _bare(scene: Scene, direction: str) -> str:
    """Give the verb phrase in the present: gives more than."""
    phrase = scene.than(direction)
    return phrase.replace(scene.speech.verb, f"{scene.speech.bare}s", 1)


def _inside(scene: Scene) -> bool:
    margin, estimate = scene.finding.worthwhile or 0.0, scene.finding.estimate
    return -margin < estimate.low and estimate.high < margin


def _withheld_headline(scene: Scene) -> str:
    estimate = scene.finding.estimate
    alone = estimate.units <= 2 or "one batch a side" in estimate.withheld.lower()
    if estimate.unit_counted == "batch" and alone:
        return "One batch a side cannot tell a better method from a luckier batch."
    return f"This trial cannot compare {scene.it} with {scene.control}."

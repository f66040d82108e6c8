"""The opening sentence of a finding: the row of the table of hedges that its interval calls for."""

from __future__ import annotations

from collections.abc import Sequence

from analyses.finding import Finding
from reports.wording.grammar import capital, listed
from reports.wording.hedging import EXPLORED, HEDGES, ONE_BATCH, Hedge, Kind
from reports.wording.speech import Scene, set_scene
from trials.trial import Trial

__all__ = ["EXPLORED", "headline", "headline_together", "hedge_of", "kind_of"]


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
    if kind_of(scene) == "withheld" and _one_batch(finding):
        return ONE_BATCH
    return capital(_filled(hedge_of(scene).alone, scene, scene.it))


def headline_together(scenes: Sequence[Scene]) -> str:
    """Give the verdict that several comparisons with one control share.

    Parameters
    ----------
    scenes : sequence of Scene
        One or more of one kind.
    """
    names = listed(scene.it for scene in scenes)
    return capital(_filled(hedge_of(scenes[0]).together, scenes[0], names))


def hedge_of(scene: Scene) -> Hedge:
    """Give the row of the table that a finding is told by.

    Parameters
    ----------
    scene : Scene
        The finding made ready.
    """
    return HEDGES[scene.finding.claim, kind_of(scene)]


def kind_of(scene: Scene) -> Kind:
    """Say what the interval of a finding shows of its claim.

    Parameters
    ----------
    scene : Scene
        The finding made ready.
    """
    finding = scene.finding
    if finding.verdict == "withheld":
        return "withheld"
    if not finding.planned:
        return "explored"
    by_claim = {"better": _better, "no worse": _no_worse, "same": _same}
    return by_claim[finding.claim](scene)


def _better(scene: Scene) -> Kind:
    finding = scene.finding
    if finding.verdict == "shown":
        return "enough" if finding.worthwhile else "gain"
    if finding.verdict == "shown, size open":
        return "size open"
    if finding.verdict == "not settled":
        return "open"
    if scene.is_bad:
        return "loss"
    if scene.is_good:
        return "small gain"
    if finding.worthwhile is None:
        return "no gain"
    return "small" if _inside(finding) else "not enough"


def _no_worse(scene: Scene) -> Kind:
    verdict = scene.finding.verdict
    if verdict == "ruled out":
        return "enough less"
    if verdict == "not settled":
        return "loss, open" if scene.is_bad else "open"
    if scene.is_good:
        return "gain"
    return "small loss" if scene.is_bad else "bounded"


def _same(scene: Scene) -> Kind:
    verdict = scene.finding.verdict
    if verdict == "not settled":
        return "open" if scene.direction == "either" else "apart, open"
    if verdict == "ruled out":
        return "enough" if scene.is_good else "enough less"
    if scene.direction == "either":
        return "small"
    return "small gain" if scene.is_good else "small loss"


def _inside(finding: Finding) -> bool:
    margin, estimate = finding.worthwhile or 0.0, finding.estimate
    return -margin < estimate.low and estimate.high < margin


def _one_batch(finding: Finding) -> bool:
    estimate = finding.estimate
    alone = 1 <= estimate.units <= 2 or "one batch a side" in estimate.withheld.lower()
    return estimate.unit_counted == "batch" and alone


def _filled(template: str, scene: Scene, names: str) -> str:
    bad = "less" if scene.good == "more" else "more"
    return template.format(
        it=names,
        control=scene.control,
        better=scene.than(scene.good),
        worse=scene.than(bad),
        apart=scene.than(scene.direction),
        would_better=_would(scene, scene.good),
        would_worse=_would(scene, bad),
        open_size=scene.speech.open_size.format(scene.word(scene.good)),
        at_most=_at_most(scene, bad),
        gain_enough=scene.speech.gain_enough,
    )


def _would(scene: Scene, direction: str) -> str:
    """Give the verb phrase behind would, which one and several names can take."""
    return scene.than(direction).replace(scene.speech.verb, f"would {scene.speech.bare}", 1)


def _at_most(scene: Scene, bad: str) -> str:
    """Say the bound on the worse side: lost at most 6 more in a hundred."""
    limit = scene.span.low if scene.good == "more" else scene.span.high
    return (
        f"{scene.it} {scene.speech.verb} at most {scene.amount(limit)} {scene.word(bad)}"
        f"{scene.tail} than {scene.control}"
    )

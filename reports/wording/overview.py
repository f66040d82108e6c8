"""Several findings in one breath: what the whole trial says, for titles and first screens."""

from __future__ import annotations

from collections.abc import Sequence

from analyses.finding import Finding
from reports.wording.grammar import capital, listed
from reports.wording.headlines import headline
from reports.wording.speech import Scene, set_scene
from trials.trial import Trial

__all__ = ["overview", "planned_findings"]


def planned_findings(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Give the planned findings; where there are none, the first explored outcome's.

    Parameters
    ----------
    findings : sequence of Finding
        The planned ones first.
    """
    planned = tuple(one for one in findings if one.planned)
    if planned or not findings:
        return planned
    first = findings[0].estimate
    return tuple(
        one
        for one in findings
        if (one.estimate.outcome, one.estimate.estimand) == (first.outcome, first.estimand)
    )


def overview(findings: Sequence[Finding], trial: Trial) -> str:
    """Say in one or two sentences what a family of findings shows.

    Parameters
    ----------
    findings : sequence of Finding
        Of one outcome, all against the same control.
    trial : Trial
        The plan.

    Returns
    -------
    str
        For one finding its headline; for several, treatments of like verdict said together.
    """
    if not findings:
        return "Nothing was compared."
    if len(findings) == 1 or not findings[0].planned:
        return headline(findings[0], trial)
    groups: dict[str, list[str]] = {}
    for finding in findings:
        scene = set_scene(finding, trial)
        groups.setdefault(_like(scene), []).append(scene.it)
    order = sorted(groups, key=_ORDER.index)
    scene = set_scene(findings[0], trial)
    return " ".join(capital(_told(kind, groups[kind], scene)) for kind in order)


_ORDER = (
    "good enough",
    "good",
    "good, small",
    "bad",
    "small",
    "allowed",
    "not enough",
    "open",
    "withheld",
)


def _like(scene: Scene) -> str:
    """Sort a finding by what may be said of it together with others."""
    finding = scene.finding
    if finding.verdict == "withheld":
        return "withheld"
    if scene.is_good:
        return _good_kind(finding)
    if scene.is_bad:
        return "bad"
    if finding.verdict == "shown":
        return "small" if finding.claim == "same" else "allowed"
    if finding.verdict == "ruled out":
        margin, estimate = finding.worthwhile or 0.0, finding.estimate
        inside = -margin < estimate.low and estimate.high < margin
        return "small" if inside else "not enough"
    return "open"


def _good_kind(finding: Finding) -> str:
    if finding.claim == "better" and finding.verdict == "shown" and finding.worthwhile:
        return "good enough"
    return "good, small" if finding.claim == "better" and finding.verdict == "ruled out" else "good"


def _told(kind: str, names: list[str], scene: Scene) -> str:
    who, control = listed(names), scene.control
    bad = "less" if scene.good == "more" else "more"
    if kind.startswith("good"):
        told = f"{who} {scene.than(scene.good)} {control}"
        tails = {
            "good enough": ", and by enough to matter",
            "good, small": ", but too little to matter",
        }
        return f"{told}{tails.get(kind, '')}."
    if kind == "bad":
        return f"{who} {scene.than(bad)} {control}."
    if kind == "small":
        return f"for {who} any difference from {control} is smaller than would matter."
    if kind == "allowed":
        return f"{who} stayed within what you allowed against {control}."
    if kind == "not enough":
        return f"{who} did not gain enough over {control} to matter."
    if kind == "withheld":
        return f"{who} cannot be compared with {control} in this trial."
    return f"for {who} this trial cannot tell."

"""Several findings in one breath: what the whole trial says, for titles and first screens."""

from __future__ import annotations

from collections.abc import Sequence

from analyses.finding import Finding
from reports.wording.headlines import headline, headline_together, kind_of
from reports.wording.hedging import HEDGES, Kind
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
        For one finding its headline; for several, treatments of like verdict said together, in
        the order of the table of hedges.
    """
    if not findings:
        return "Nothing was compared."
    if len(findings) == 1 or not findings[0].planned:
        return headline(findings[0], trial)
    # Those that lie on opposite sides are never said together, even where their verdict is one.
    alike: dict[tuple[Kind, str], list[Scene]] = {}
    for finding in findings:
        scene = set_scene(finding, trial)
        alike.setdefault((kind_of(scene), scene.direction), []).append(scene)
    order = [kind for claim, kind in HEDGES if claim == findings[0].claim]
    groups = sorted(alike.items(), key=lambda group: order.index(group[0][0]))
    return " ".join(headline_together(scenes) for _, scenes in groups)

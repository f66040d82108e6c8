"""What was looked at afterwards, told together once: what stands when luck is allowed for."""

from __future__ import annotations

from analyses.analysis import Analysis
from reports.wording.grammar import in_words, listed
from reports.wording.names import outcome_words, treatment_names

__all__ = ["explored_together"]


def explored_together(analysis: Analysis) -> str:
    """Say how much of what was explored stands when all of it is taken together.

    Parameters
    ----------
    analysis : Analysis
        Its explored findings hold Holm's p value.

    Returns
    -------
    str
        Empty where fewer than two comparisons were explored.
    """
    tried = [one for one in analysis.findings if one.p_holm is not None]
    beside = [one for one in analysis.also if one.p_holm is not None]
    if len(tried) + len(beside) < 2:
        return ""
    names, many = treatment_names(analysis.records.trial), len(analysis.findings[0].means) != 2
    many = many or len(analysis.records.trial.challengers) > 1
    left = 1 - analysis.records.trial.aim.confidence
    standing = [one for one in tried if one.p_holm is not None and one.p_holm < left]
    count = in_words(len(tried) + len(beside)).capitalize()
    opening = (
        f"{count} comparisons were made beside the planned one. With so many, one may stand out by "
        "luck alone"
    )
    others = [one for one in beside if one.p_holm is not None and one.p_holm < left]
    if not standing and not others:
        return f"{opening}; with that allowed for, none of them stands out."
    told = [
        (outcome_words(one.estimate, analysis.records.trial), one.estimate.treatment)
        for one in standing
    ] + [(one.measure, one.treatment) for one in others]
    said = listed(
        dict.fromkeys(what + (f" ({names[code]})" if many else "") for what, code in told)
    )
    verb = "stands" if len(told) == 1 else "stand"
    return f"{opening}; with that allowed for, {said} still {verb} out. Each is still a hint."

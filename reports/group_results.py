"""The machine's form of a group's analysis: its own ``results.json``."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from analyses.pooling.answers import GroupAnswer, GrowerAnswer, PooledAnalysis
from reports.plain_values import plain
from reports.wording.group_words import group_sentence
from trials.trial import Trial

__all__ = ["GROUP_SCHEMA", "group_results"]

GROUP_SCHEMA = "group.schema.json"
"""The JSON Schema in ``reports/templates`` that the results of a group are held to."""

_FORMAT = 1


def group_results(analysis: PooledAnalysis) -> dict[str, Any]:
    """Give the analysis of a group as plain values for JSON.

    Parameters
    ----------
    analysis : PooledAnalysis

    Returns
    -------
    dict
        Growers by the name that pages call them, never by the name of a folder; weights in
        grams, losses in bags in 100; what is not a finite number is None.
    """
    together, trial = analysis.together, analysis.together.reference
    told = {
        "format": _FORMAT,
        "kind": "group",
        "trial": {
            "title": together.title or trial.title, "question": trial.question,
            "species": trial.species, "unit": trial.unit, "weights": trial.weights,
            "flushes": trial.flushes, "invented": trial.invented,
            "treatments": [
                {"code": one.code, "name": one.name, "control": one.control}
                for one in trial.treatments
            ],
            "aim": {
                "outcome": trial.aim.outcome, "claim": trial.aim.claim,
                "worthwhile": str(trial.aim.worthwhile) if trial.aim.worthwhile else None,
                "confidence": trial.aim.confidence,
            },
        },
        "growers": [
            {
                "shown": one.shown, "bags": one.bags, "lost": one.lost, "unit": one.unit,
                "weights": one.weights, "flushes": one.flushes, "remarks": list(one.remarks),
                "problems": list(one.problems),
                "facts": dict(one.facts),
            }
            for one in analysis.notes
        ],
        "left_out": [{"shown": one.shown, "why": one.why} for one in together.left_out],
        "differences": [
            {"shown": one.shown, "kind": one.kind, "what": one.what, "standing": one.standing}
            for one in together.differences
        ],
        "findings": [_finding(one, trial) for one in analysis.answers],
        "means": [asdict(one) for one in analysis.means],
        "models": [asdict(one) for one in analysis.models],
        "cautions": list(analysis.cautions),
        "seed": analysis.seed,
    }  # fmt: skip
    values: dict[str, Any] = plain(told)
    return values


def _finding(answer: GroupAnswer, trial: Trial) -> dict[str, Any]:
    finding, one, ahead = answer.finding, answer.finding.estimate, answer.prediction
    return {
        "id": finding.id, "outcome": one.outcome, "estimand": one.estimand,
        "treatment": one.treatment, "control": one.control, "claim": finding.claim,
        "planned": finding.planned, "explored_because": finding.explored_because,
        "verdict": finding.verdict, "reasons": list(finding.reasons),
        "sentence": group_sentence(answer, trial), "unit": one.unit, "units": one.units,
        "unit_counted": one.unit_counted, "estimate": one.value, "low": one.low,
        "high": one.high, "low_alone": one.low_alone, "high_alone": one.high_alone,
        "confidence": one.level, "worthwhile": finding.worthwhile,
        "percent": None if one.percent is None else asdict(one.percent), "p": one.p,
        "p_holm": finding.p_holm, "df": one.df, "method": one.method, "withheld": one.withheld,
        "notes": list(one.notes), "checks": [asdict(check) for check in finding.checks],
        "between_sd": answer.between_sd, "differs": answer.differs,
        "pooled": None if answer.pooled is None else asdict(answer.pooled),
        "others": {name: asdict(effect) for name, effect in answer.others},
        "prediction": None if ahead is None else {"low": ahead.low, "high": ahead.high},
        "chance_better": answer.chance_better, "chance_worthwhile": answer.chance_worthwhile,
        "growers": [_grower(each) for each in answer.growers],
        "reasons_tried": [_reason(each) for each in map(asdict, answer.reasons)],
        "more_growers": None if answer.more is None else asdict(answer.more),
        "companions": [asdict(each) for each in answer.companions],
    }  # fmt: skip


def _grower(one: GrowerAnswer) -> dict[str, Any]:
    own = one.own
    drawn = one.drawn
    return {
        "shown": one.shown, "bags": own.bags, "control": own.control, "treatment": own.treatment,
        "estimate": own.value, "low": own.low, "high": own.high,
        "error": math.sqrt(own.variance) if own.variance > 0 else math.nan, "df": own.df,
        "withheld": own.withheld,
        "drawn": None if drawn is None else {
            "estimate": drawn.value, "low": drawn.low, "high": drawn.high,
        },
        "own_share": one.own_share, "away": one.away, "p": one.p, "p_holm": one.p_holm,
    }  # fmt: skip


def _reason(told: dict[str, Any]) -> dict[str, Any]:
    values = [
        {"value": value, "estimate": estimate, "growers": growers}
        for value, estimate, growers in told["values"]
    ]
    return told | {"values": values}

"""The machine's form of an analysis: ``results.json`` by fixed names."""

from __future__ import annotations

from typing import Any

from analyses.analysis import Analysis
from analyses.estimate import Span
from analyses.finding import Finding, Mean
from reports.plain_values import plain
from reports.results_beside_findings import beside_findings
from reports.words import sentence
from trials.trial import Trial

__all__ = ["FORMAT", "SCHEMA", "results"]

FORMAT = 1
SCHEMA = "results.schema.json"
"""The JSON Schema in ``reports/templates`` that results are held to."""


def results(analysis: Analysis) -> dict[str, Any]:
    """Give an analysis as plain values for JSON.

    Parameters
    ----------
    analysis : Analysis
        What the records say.

    Returns
    -------
    dict
        Keys format, trial, findings, units, cautions and more; what is not a finite number is
        None. Weights are in grams, losses in bags in 100, whatever unit the page speaks in.
    """
    trial = analysis.records.trial
    told = {
        "format": FORMAT,
        "trial": _trial(analysis),
        "findings": [_finding(finding, trial) for finding in analysis.findings],
        "units": _units(analysis),
        "cautions": list(analysis.cautions),
        "means": [_mean(mean) for mean in analysis.means],
        "losses": [_fields(loss) for loss in analysis.losses],
        "flow": [_fields(step) for step in analysis.flow],
        "flushes": [_fields(row) for row in analysis.flush_rows],
        "changes": list(analysis.changes),
    } | beside_findings(analysis)
    values: dict[str, Any] = plain(told)
    return values


def _trial(analysis: Analysis) -> dict[str, Any]:
    trial = analysis.records.trial
    return {
        "title": trial.title, "question": trial.question, "species": trial.species,
        "strain": trial.strain, "unit": trial.unit, "weights": trial.weights,
        "start": trial.start.isoformat() if trial.start else None, "flushes": trial.flushes,
        "blind": trial.blind, "invented": trial.invented, "layout": trial.design.layout,
        "applied_to": trial.design.applied_to, "seed": analysis.records.layout.seed,
        "locked": analysis.locked or None, "fingerprint": analysis.fingerprint or None,
        "treatments": [
            {"code": one.code, "name": one.name, "control": one.control} for one in trial.treatments
        ],
        "aim": {
            "outcome": trial.aim.outcome, "claim": trial.aim.claim,
            "worthwhile": str(trial.aim.worthwhile) if trial.aim.worthwhile else None,
            "confidence": trial.aim.confidence,
        },
    }  # fmt: skip


def _finding(finding: Finding, trial: Trial) -> dict[str, Any]:
    one = finding.estimate
    return {
        "id": finding.id, "outcome": one.outcome, "estimand": one.estimand,
        "treatment": one.treatment, "control": one.control, "claim": finding.claim,
        "planned": finding.planned, "explored_because": finding.explored_because,
        "verdict": finding.verdict, "reasons": list(finding.reasons),
        "sentence": sentence(finding, trial), "unit": one.unit, "units": one.units,
        "unit_counted": one.unit_counted, "estimate": one.value, "low": one.low, "high": one.high,
        "low_alone": one.low_alone, "high_alone": one.high_alone, "confidence": one.level,
        "worthwhile": finding.worthwhile, "percent": _span(one.percent),
        "efficiency": _span(one.efficiency), "p": one.p, "p_rerandomised": finding.p_rerandomised,
        "p_holm": finding.p_holm,
        "df": one.df, "method": one.method, "withheld": one.withheld, "notes": list(one.notes),
        "means": [_mean(mean) for mean in finding.means],
        "checks": [_fields(check) for check in finding.checks],
        "companions": [_fields(one) for one in finding.companions],
    }  # fmt: skip


def _units(analysis: Analysis) -> dict[str, Any]:
    story = analysis.unit
    return {
        "counted": story.counted,
        "total": story.total,
        "per_treatment": dict(story.per_treatment),
        "why": story.why,
        "blocks": story.blocks,
        "block": story.block,
    }


def _mean(mean: Mean) -> dict[str, Any]:
    return _fields(mean)


def _span(span: Span | None) -> dict[str, Any] | None:
    return None if span is None else _fields(span)


def _fields(record: object) -> dict[str, Any]:
    import dataclasses

    if not dataclasses.is_dataclass(record) or isinstance(record, type):
        raise TypeError(f"{record!r} is no record")
    return dataclasses.asdict(record)

"""results.json: fixed names, plain numbers, and the project's own schema."""

from __future__ import annotations

import json
import math
from functools import cache
from importlib.resources import files

import pytest
from scipy.stats import fisher_exact
from scipy.stats.contingency import odds_ratio

from analyses.questions import analyse
from reports.results import SCHEMA, results
from reports.words import sentence
from tests.analyses.losses import NO_WORSE, lost_records
from tests.reports.invented import four_mixes, one_batch_a_side, shortcut, two_mixes
from tests.reports.stories import story


@cache
def demo_flushes():
    return story("flushes")


@cache
def demo_shortcut():
    return story("shortcut")


@cache
def by_bag():
    return analyse(lost_records([("T", 7, 40), ("C", 2, 40)], aim=NO_WORSE))


TRIALS = (two_mixes, four_mixes, one_batch_a_side, shortcut, demo_flushes, demo_shortcut, by_bag)
FIXED = {
    "id", "outcome", "estimand", "claim", "planned", "verdict", "sentence", "unit", "units",
    "estimate", "low", "high", "confidence", "worthwhile", "percent", "p", "p_rerandomised", "df",
    "method", "means", "checks",
}  # fmt: skip


@pytest.fixture(scope="module", params=TRIALS, ids=lambda one: one.__name__)
def analysis(request):
    return request.param()


def test_the_fixed_names_are_there(analysis):
    told = results(analysis)
    assert told["format"] == 1
    assert {"trial", "findings", "units", "cautions"} <= set(told)
    assert all(set(one) >= FIXED for one in told["findings"])


def test_json_takes_it_without_nan(analysis):
    text = json.dumps(results(analysis), allow_nan=False)
    assert json.loads(text) == results(analysis)


def test_numbers_are_not_rounded(analysis):
    for told, finding in zip(results(analysis)["findings"], analysis.findings, strict=True):
        assert told["sentence"] == sentence(finding, analysis.records.trial)
        if math.isfinite(finding.estimate.value):
            assert told["estimate"] == float(finding.estimate.value)
            assert told["low"] == float(finding.estimate.low)
        else:
            assert told["estimate"] is None


def test_the_schema_holds(analysis):
    jsonschema = pytest.importorskip("jsonschema", reason="jsonschema is not installed")
    jsonschema.Draft202012Validator(_schema()).validate(results(analysis))


def test_the_schema_refuses_what_is_wrong():
    jsonschema = pytest.importorskip("jsonschema", reason="jsonschema is not installed")
    schema = _schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    for spoil in (
        lambda told: told["findings"][0].pop("verdict"),
        lambda told: told["findings"][0].update(verdict="significant"),
        lambda told: told["findings"][0].update(units="many"),
        lambda told: told.update(format=2),
    ):
        told = results(two_mixes())
        spoil(told)
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.Draft202012Validator(schema).validate(told)


def test_the_schema_describes_every_key():
    told, schema = results(two_mixes()), _schema()
    assert set(schema["properties"]) == set(told)
    assert set(schema["$defs"]["finding"]["properties"]) == set(told["findings"][0])
    assert set(schema["$defs"]["trial"]["properties"]) == set(told["trial"])


def test_the_schema_leaves_no_part_open():
    """Every object names its keys and refuses others, down to the last one."""
    for where, part in _parts(_schema(), "results"):
        if part.get("type") == "object" or "properties" in part:
            if "properties" not in part:
                assert isinstance(part["additionalProperties"], dict), where
                continue
            assert part["additionalProperties"] is False, where
            assert set(part["required"]) == set(part["properties"]), where
        if part.get("type") == "array":
            assert "items" in part, where


def _parts(part, where):
    if isinstance(part, dict):
        yield where, part
        for name, one in part.items():
            yield from _parts(one, f"{where}.{name}")
    if isinstance(part, list):
        for number, one in enumerate(part):
            yield from _parts(one, f"{where}[{number}]")


def test_losses_are_told_both_ways():
    """By batches and as if each bag stood alone, with every batch and what was seen."""
    told = results(demo_shortcut())
    (naive,) = told["naive"]
    (found,) = (one for one in told["findings"] if one["outcome"] == "contamination")
    assert (naive["right_low"], naive["right_high"]) == (found["low"], found["high"])
    assert naive["high"] - naive["low"] < found["high"] - found["low"]
    assert sum(one["made"] for one in told["batches"]) == naive["units"]
    assert len(told["batches"]) == naive["batches"]
    pattern = told["loss_pattern"]
    lost = sum(one["lost"] for one in told["losses"])
    assert sum(one["lost"] for one in pattern["stages"]) == lost
    assert sum(one["lost"] for one in pattern["seen"]) == lost
    measures = {one["measure"] for one in found["companions"]}
    assert {"odds ratio", "intracluster correlation", "design effect"} <= measures


def test_ratio_and_odds_stand_beside_the_difference():
    """The ratio of plain shares, and Fisher's odds by scipy."""
    told = results(by_bag())
    (found,) = (one for one in told["findings"] if one["outcome"] == "contamination")
    (ratio,) = (one for one in found["companions"] if one["measure"] == "risk ratio")
    assert ratio["value"] == pytest.approx((7 / 40) / (2 / 40))
    exact = next(one for one in found["companions"] if "Fisher" in one["method"])
    odds = odds_ratio([[7, 33], [2, 38]])
    assert exact["value"] == pytest.approx(odds.statistic, rel=1e-6)
    assert exact["p"] == pytest.approx(fisher_exact([[7, 33], [2, 38]]).pvalue, rel=1e-6)
    assert exact["low"] == pytest.approx(odds.confidence_interval(0.95).low, rel=1e-5)


def test_flushes_money_and_days_are_whole():
    analysis = demo_flushes()
    told = results(analysis)
    story, worth, times = told["flush_story"], told["worth"], told["times"]
    kept = {one["treatment"]: one["value"] for one in story["kept"]}
    assert set(kept) == {""} | {one["code"] for one in told["trial"]["treatments"]}
    for one in story["counts"]:
        fates = ("came", "nothing", "lost_before", "unknown", "still_picking", "stopped")
        assert sum(one[name] for name in fates) == one["started"]
    assert {one["treatment"] for one in worth["best"]} == set(kept) - {""}
    for best in worth["best"]:
        assert sum(share for _, share in best["others"]) == pytest.approx(1)
    assert times
    for one in times:
        assert {curve["treatment"] for curve in one["curves"]} == set(kept) - {""}


def _schema():
    return json.loads((files("reports") / "templates" / SCHEMA).read_text(encoding="utf-8"))

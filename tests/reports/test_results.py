"""results.json: fixed names, plain numbers, and the project's own schema."""

from __future__ import annotations

import json
import math
from importlib.resources import files

import pytest

from reports.results import SCHEMA, results
from reports.words import sentence
from tests.reports.invented import four_mixes, one_batch_a_side, shortcut, two_mixes

TRIALS = (two_mixes, four_mixes, one_batch_a_side, shortcut)
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


def _schema():
    return json.loads((files("reports") / "templates" / SCHEMA).read_text(encoding="utf-8"))

"""What a treatment gave does not hang on how its code is spelt or sorted."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from analyses.layouts.factorial import factor_answer
from analyses.questions import analyse
from analyses.unit import unit_story
from analyses.yields import STARTED, yield_answer
from tests.analyses.made import records_of
from tests.analyses.test_layouts_analysed import laid_out, semiconductor
from trials.trial import Treatment

GAINS = (0.0, 100.0, -100.0)


@pytest.mark.parametrize("codes", list(itertools.permutations("BKZ")))
def test_each_treatment_is_told_by_its_own_bags(codes):
    rng = np.random.default_rng(1)
    treatment = list(codes) * 6
    grams = [400 + GAINS[codes.index(one)] + rng.normal(0, 10) for one in treatment]
    flushes = np.stack([grams, np.multiply(grams, 0.5)], axis=1)
    block = [str(place // 3) for place in range(18)]
    analysis = analyse(records_of(treatment, flushes, block=block))
    table = flushes.sum(axis=1).reshape(6, 3).mean(axis=0)
    for finding in analysis.findings:
        one = finding.estimate
        if one.outcome == "yield":
            gain = table[codes.index(one.treatment)] - table[0]
            assert one.value == pytest.approx(gain)
            assert one.low < gain < one.high
            assert [mean.treatment for mean in finding.means] == [codes[0], one.treatment]


def _effects(records):
    answer = yield_answer(records, unit_story(records), STARTED, level=0.95)
    return factor_answer(records, answer, level=0.95).effects


@pytest.mark.parametrize(("a", "b"), [("312", "21"), ("zxy", "qp")])
def test_each_level_is_told_by_its_own_bags(a, b):
    """The published split plot with its levels named otherwise gives the same effects."""
    plain = semiconductor()
    names = dict(zip("123", a, strict=True)), dict(zip("12", b, strict=True))
    treatments = tuple(
        Treatment(
            code=one.code, name=one.name, control=one.control,
            factors=tuple(
                (factor, names[place][level])
                for place, (factor, level) in enumerate(one.factors)
            ),
        )
        for one in plain.trial.treatments
    )  # fmt: skip
    renamed = laid_out(
        plain, plain.trial.design, plain.layout.randomisation, treatments=treatments,
        batch=plain.bags["batch"].tolist(),
    )  # fmt: skip
    for known, found in zip(_effects(plain), _effects(renamed), strict=True):
        assert (found.value, found.low, found.high) == pytest.approx(
            (known.value, known.low, known.high)
        )
        own = [names["AB".index(name)][level]
               for name, level in zip(known.factors, known.levels, strict=True)]  # fmt: skip
        assert list(found.levels) == own

"""How fast flushes fall: reference fits, published flush tables, and the hard cases."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analyses.flush.kept_fit import CALLED_FOR, fit_kept
from analyses.flush.told import flush_story
from analyses.models.flush.replacement import geometric_total
from analyses.models.mixed import fit_mixed
from analyses.questions import analyse
from analyses.unit import unit_story
from reports.report import write_report
from tests.analyses.made import records_of
from tests.reference.load import case, frame

AIM = 'outcome = "flush drop"'


def wide(data):
    """One row a bag, one column a flush, NaN where a flush is not there."""
    table = data.pivot_table(index=["treatment", "block", "bag"], columns="k", values="y")
    return table.reset_index()


@pytest.fixture(scope="module")
def flush_drop():
    """The invented data of reference flush_drop, run through the main path."""
    bags = wide(frame("flush_drop"))
    grams = bags[[0, 1, 2]].to_numpy(float)
    return analyse(records_of(bags["treatment"], grams, block=bags["block"], control="m1", aim=AIM))


def test_shares_kept_are_those_of_the_reference(flush_drop) -> None:
    """Slopes, standard errors, df and limits: reference flush_drop, to 1e-6."""
    known = case("flush_drop")
    rows = {row["treatment"]: row for row in known["slopes"]}
    for code, row in rows.items():
        mine = flush_drop.story.kept_by(code)
        assert (mine.slope, mine.error, mine.df) == pytest.approx(
            (row["k.trend"], row["SE"], row["df"]), rel=1e-6
        )
        assert (mine.low, mine.high) == pytest.approx(
            (math.exp(row["lower.CL"]), math.exp(row["upper.CL"])), rel=1e-6
        )
    (common,) = known["common"]
    whole = flush_drop.story.kept_by("")
    assert (whole.slope, whole.error, whole.df) == pytest.approx(
        (common["k.trend"], common["SE"], common["df"]), rel=1e-6
    )
    assert not flush_drop.story.spread_by_flush


def test_contrasts_of_shares_are_those_of_the_reference(flush_drop) -> None:
    known = {row["contrast"]: row for row in case("flush_drop")["slope_pairs"]}
    assert [one.treatment for one in flush_drop.story.contrasts] == ["m2", "m3"]
    for one in flush_drop.story.contrasts:
        row = known[f"m1 - {one.treatment}"]
        assert one.log_ratio == pytest.approx(-row["estimate"], rel=1e-6)
        assert (one.error, one.df, one.p) == pytest.approx(
            (row["SE"], row["df"], row["p.value"]), rel=1e-6
        )
        assert (one.low, one.high) == pytest.approx(
            (math.exp(-row["upper.CL"]), math.exp(-row["lower.CL"])), rel=1e-6
        )


def test_findings_agree_with_the_shares(flush_drop) -> None:
    planned = [one for one in flush_drop.findings if one.planned]
    assert [one.id for one in planned] == ["flush-drop-kept-m2", "flush-drop-kept-m3"]
    shares = {code: 100 * flush_drop.story.kept_by(code).value for code in ("m1", "m2", "m3")}
    for one in planned:
        mine = one.estimate
        assert mine.unit == "in 100"
        assert mine.value == pytest.approx(shares[mine.treatment] - shares["m1"], rel=1e-9)
        assert (mine.p < 0.05) == (mine.low > 0 or mine.high < 0)
        assert mine.low < mine.low_alone < mine.value < mine.high_alone < mine.high
        contrast = next(c for c in flush_drop.story.contrasts if c.treatment == mine.treatment)
        assert mine.percent.value == pytest.approx(100 * (contrast.value - 1), rel=1e-9)
    assert [one.verdict for one in planned] == ["not settled", "shown"]


def test_per_flush_model_is_that_of_the_reference() -> None:
    """Residual variance by flush: reference residual_by_flush (estimates to 1e-4, as given)."""
    bags = wide(frame("flush_drop"))
    grams = bags[[0, 1, 2]].to_numpy(float)
    analysis = analyse(records_of(bags["treatment"], grams, block=bags["block"]))
    model = next(one for one in analysis.models if one.about == "yield of each flush")
    known, mine = case("residual_by_flush"), dict(model.variances)
    assert model.minus2_reml == pytest.approx(known["minus2_reml_loglik"], abs=1e-4)
    for name, value in known["residual_variances"].items():
        assert mine[f"residual[{name.removeprefix('f')}]"] == pytest.approx(value, rel=1e-3)


def test_published_flush_table_gives_its_ratios() -> None:
    """Fruit bodies by flush, four mixes: Advances in Agriculture (2019) 6853627, table 3.

    Ratios of the column means 0.65, 0.41, 0.61; their geometric mean 0.54. One bag a mix here, so
    the shares are those of the geometric means.
    """
    table = np.array(
        [[9.3, 6.3, 2.3, 1.7], [33.3, 22.0, 8.3, 5.0], [30.0, 20.3, 8.7, 5.3],
         [22.3, 12.7, 5.7, 3.3]]
    )  # fmt: skip
    means = table.mean(axis=0)
    assert (means[1:] / means[:-1]).round(2).tolist() == [0.65, 0.41, 0.61]
    records = records_of(["a", "a", "b", "b"], table, control="a", aim=AIM)
    story, _ = flush_story(records, unit_story(records), level=0.95, draws=0)
    steps = [one.value for one in story.steps if not one.treatment]
    known = np.exp(np.log(table[:, 1:] / table[:, :-1]).mean(axis=0))
    assert steps == pytest.approx(known, rel=1e-9)
    assert steps == pytest.approx([0.65, 0.41, 0.61], abs=0.03)
    kept = np.polyfit(np.arange(4), np.log(table).mean(axis=0), 1)[0]
    assert story.kept_by("").value == pytest.approx(math.exp(kept), rel=1e-9)
    assert np.prod(known) ** (1 / 3) == pytest.approx(0.54, abs=0.02)


def test_exact_geometric_decay_is_recovered() -> None:
    """Bags that halve at every flush keep 0.5, whatever their first flush."""
    first = np.array([300.0, 260.0, 340.0, 310.0, 280.0, 330.0])
    kept = np.repeat([0.5, 0.6], 3)[:, None] ** np.arange(4)
    noise = 1 + 1e-4 * np.random.default_rng(1).normal(size=(6, 4))
    records = records_of(["a"] * 3 + ["b"] * 3, first[:, None] * kept * noise, aim=AIM)
    analysis = analyse(records)
    assert analysis.story.kept_by("a").value == pytest.approx(0.5, rel=1e-3)
    (finding,) = [one for one in analysis.findings if one.planned]
    assert finding.estimate.value == pytest.approx(10.0, rel=1e-2)
    outlook = next(one for one in analysis.story.outlooks if one.treatment == "a")
    assert outlook.picked_share == pytest.approx(1 - 0.5**4, rel=1e-3)


def test_geometric_sums_against_the_sum_itself() -> None:
    kept = np.array([0.1, 0.5, 0.9])
    sums = (200 * kept[:, None] ** np.arange(2000)).sum(axis=1)
    assert geometric_total(200.0, kept) == pytest.approx(sums, rel=1e-12)
    assert math.isinf(geometric_total(200.0, 1.2))


def grams_of(rng, bags, flushes, kept=0.5):
    return 300 * kept ** np.arange(flushes) * np.exp(rng.normal(0, 0.2, (bags, flushes)))


def test_one_flush_only_cannot_answer() -> None:
    grams = grams_of(np.random.default_rng(2), 8, 1)
    analysis = analyse(records_of(["a", "b"] * 4, grams, aim=AIM))
    (finding,) = [one for one in analysis.findings if one.planned]
    assert finding.verdict == "withheld"
    assert "fewer than two flushes came" in finding.estimate.withheld
    assert not analysis.story.kept


def test_all_zero_second_flush_is_data_and_gives_no_share() -> None:
    grams = grams_of(np.random.default_rng(3), 8, 2)
    grams[:, 1] = 0.0
    analysis = analyse(records_of(["a", "b"] * 4, grams, aim=AIM))
    (finding,) = [one for one in analysis.findings if one.planned]
    assert finding.verdict == "withheld"
    second = [one for one in analysis.story.counts if one.flush == 2]
    assert [(one.nothing, one.lost_before, one.stopped) for one in second] == [(4, 0, 0)] * 2
    assert not analysis.story.expected
    assert "no weight" in analysis.story.why_no_ranges
    write_report(analysis)


def test_one_bag_a_treatment_is_described_and_not_compared() -> None:
    grams = grams_of(np.random.default_rng(4), 2, 4)
    analysis = analyse(records_of(["a", "b"], grams, aim=AIM))
    (finding,) = [one for one in analysis.findings if one.planned]
    assert finding.verdict == "withheld"
    assert finding.estimate.p is None
    assert "nothing shows how much they differ" in finding.estimate.withheld


def test_thrown_out_still_picking_and_stopped_are_told_apart() -> None:
    grams = grams_of(np.random.default_rng(5), 12, 3)
    records = records_of(["a", "b"] * 6, grams, aim=AIM)
    flushes = records.flushes
    flushes.loc[flushes["flush"] == 3, ["grams", "state"]] = [np.nan, "not picked"]
    one, two, three = records.bags["code"][:3]
    for code, state in ((one, "after loss"), (two, "not yet")):
        mine = (flushes["code"] == code) & (flushes["flush"] > 1)
        flushes.loc[mine, "grams"] = np.nan
        flushes.loc[mine, "state"] = state
    flushes.loc[(flushes["code"] == three) & (flushes["flush"] == 2), "grams"] = 0.0
    records.bags.loc[0, "fate"] = "contaminated"
    records.bags.loc[1, "fate"] = "still going"
    story, joint = flush_story(records, unit_story(records), level=0.95, draws=50)
    assert (story.planned, story.picked) == (3, 2)
    at = {(row.treatment, row.flush): row for row in story.counts}
    a, b = at["a", 2], at["b", 2]
    assert (a.came, a.nothing, a.lost_before, a.still_picking) == (4, 1, 1, 0)
    assert (b.came, b.nothing, b.lost_before, b.still_picking) == (5, 0, 0, 1)
    assert at["b", 3].stopped == 5
    for row in story.counts:
        parts = (row.came, row.nothing, row.lost_before, row.unknown, row.still_picking,
                 row.stopped)  # fmt: skip
        assert sum(parts) == row.started
    assert joint.parts.standing.shape[1] == 2 + 3  # picked, and three foretold
    assert joint.parts.standing[1, 1, 0] > joint.parts.standing[0, 1, 0]


def test_bags_of_one_batch_give_one_slope() -> None:
    """A slope that varies from batch to batch is compared batch by batch."""
    rng = np.random.default_rng(6)
    batch = np.repeat([f"b{n}" for n in range(8)], 5)
    treatment = np.repeat(["a", "b"] * 4, 5)
    slope = -0.7 + np.repeat(rng.normal(0, 0.2, 8), 5)
    grams = np.exp(5.5 + slope[:, None] * np.arange(3) + rng.normal(0, 0.05, (40, 3)))
    analysis = analyse(records_of(treatment, grams, batch=batch, aim=AIM))
    (finding,) = [one for one in analysis.findings if one.planned]
    own = np.array([np.polyfit(np.arange(3), np.log(row), 1)[0] for row in grams])
    means = own.reshape(8, 5).mean(axis=1)
    a, b = means[::2], means[1::2]
    spread = math.sqrt((a.var(ddof=1) + b.var(ddof=1)) / 2 * (2 / 4))
    (contrast,) = analysis.story.contrasts
    assert contrast.log_ratio == pytest.approx(b.mean() - a.mean(), rel=1e-9)
    assert (contrast.error, contrast.df) == pytest.approx((spread, 6.0), rel=1e-6)
    assert finding.estimate.units == 8
    assert not analysis.story.why_no_ranges
    assert analysis.story.draws == 2000


def test_expected_yield_joins_its_parts_and_is_repeatable() -> None:
    grams = grams_of(np.random.default_rng(7), 24, 3)
    grams[3, 1:] = np.nan
    grams[6, 2] = 0.0
    fate = ["finished"] * 24
    fate[3] = "contaminated"
    records = records_of(["a", "b"] * 12, grams, fate=fate, aim=AIM)
    first, again = (flush_story(records, unit_story(records), level=0.9)[0] for _ in range(2))
    assert first.expected == again.expected
    shares: dict[str, float] = {}
    for one in first.expected:
        assert one.grams.low <= one.grams.value <= one.grams.high
        if not one.foretold:
            shares[one.treatment] = shares.get(one.treatment, 0.0) + one.share.value
    assert list(shares.values()) == pytest.approx([1.0, 1.0], rel=1e-9)
    whole = records.flushes.groupby("treatment")["grams"].sum() / 12
    for one in first.outlooks:
        assert one.total.value == pytest.approx(whole[one.treatment], rel=0.05)


def test_a_flush_without_any_spread_is_not_believed() -> None:
    """Sixteen bags whose second flush varies as the bags do and no more: seed 0."""
    rng = np.random.default_rng(0)
    logs = 5.6 - 0.6 * np.arange(3) + 0.3 * rng.normal(size=(16, 1))
    logs[:, 0] += 0.25 * rng.normal(size=16)
    logs[:, 2] += 0.25 * rng.normal(size=16)
    records = records_of(["C"] * 8 + ["T"] * 8, np.exp(logs), control="C", aim=AIM)
    kept = fit_kept(records, unit_story(records), ["C", "T"])
    assert kept.spread_p < CALLED_FOR
    assert not kept.spread_by_flush
    own = fit_mixed(kept.frame, "grams", "treatment * k", ["bag"], log=True, residual_by="flush")
    assert own.variances["residual[2]"] == 0

"""The renewal rule against published examples of replacement and against simulated shelves."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from analyses.models.flush.replacement import best_cycle, long_run, turning_price
from analyses.questions import analyse
from analyses.worth import cycle
from tests.analyses.few_layouts import few_layouts
from tests.analyses.made import records_of
from trials.trial import Costs

COSTS = Costs(
    price_per_kg=12.0, cost_per_bag=1.6, shelf_days_to_first=22.0, shelf_days_per_flush=10.0,
    currency="USD",
)  # fmt: skip


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    few_layouts(monkeypatch)


def test_machine_with_rising_upkeep_is_replaced_after_six_years() -> None:
    """Price 12,200, scrap 200, upkeep 200 to 4,000 a year: an example of many textbooks of
    operations research, read in a worked collection; averages 12,200 ... 3,167, 3,171, 3,275."""
    upkeep = np.cumsum([200, 500, 800, 1200, 1800, 2500, 3200, 4000])
    reward, years = -(12000.0 + upkeep), np.arange(1, 9)
    assert (-long_run(reward, years)).round().tolist() == [
        12200, 6350, 4500, 3675, 3300, 3167, 3171, 3275,
    ]  # fmt: skip
    assert int(best_cycle(reward, years)) + 1 == 6


def test_car_that_lasts_up_to_ten_years_is_replaced_after_8_83() -> None:
    """Durrett, Essentials of Stochastic Processes, example 3.4: life uniform on 0 to 10, new car
    10, breakdown 3; cost (10 + 0.3 T) / (T - 0.05 T^2), least where 0.015 T^2 + T - 10 = 0."""
    t = np.linspace(0.5, 10, 95_001)
    best = t[best_cycle(-(10 + 0.3 * t), t - 0.05 * t**2)]
    assert best == pytest.approx((np.sqrt(1.6) - 1) / 0.03, abs=1e-3)


def test_rule_against_simulated_shelves() -> None:
    """Put up, pick, throw out, replace: 60,000 bags a rule; the averages agree to a per cent."""
    rng = np.random.default_rng(11)
    hazard, comes, amount = [0.06, 0.04, 0.04, 0.04], [1.0, 0.95, 0.85, 0.7], [280, 170, 90, 50]
    standing = np.cumprod(1 - np.array(hazard))
    expected = standing * np.array(comes) * np.array(amount)
    _, money, days = cycle(expected, standing, COSTS)
    simulated = []
    for last in range(1, 5):
        alive, earned, spent = np.ones(60_000, bool), np.full(60_000, -1.6), np.zeros(60_000)
        for k in range(last):
            spent += alive * (22.0 if k == 0 else 10.0)
            alive &= rng.random(60_000) >= hazard[k]
            earned += alive * (rng.random(60_000) < comes[k]) * 12.0 * amount[k] / 1000
        simulated.append(earned.sum() / spent.sum())
    assert long_run(money, days) == pytest.approx(simulated, rel=0.012)
    assert int(best_cycle(money, days)) == int(np.argmax(simulated))


def test_best_is_where_the_next_flush_falls_below_the_average() -> None:
    """The marginal form of the rule, for flushes that fall: keep while the next one beats it."""
    rng = np.random.default_rng(12)
    for _ in range(200):
        kept, first = rng.uniform(0.3, 0.8), rng.uniform(150, 400)
        standing = 0.97 ** np.arange(1, 9)
        expected = standing * first * kept ** np.arange(8)
        _, money, days = cycle(expected, standing, COSTS)
        best = int(best_cycle(money, days))
        rate = long_run(money, days)[best]
        marginal = np.diff(money) / np.diff(days)
        assert (marginal[:best] >= rate - 1e-12).all()
        assert best == 7 or marginal[best] <= rate + 1e-12


def test_turning_price_makes_both_worth_the_same() -> None:
    price = turning_price((0.42, 0.5), (32.0, 42.0), 1.6)
    assert price is not None
    both = [(price * kg - 1.6) / days for kg, days in ((0.42, 32.0), (0.5, 42.0))]
    assert both[0] == pytest.approx(both[1], rel=1e-12)


def made(costs: Costs):
    rng = np.random.default_rng(13)
    grams = 300 * 0.55 ** np.arange(3) * np.exp(rng.normal(0, 0.15, (24, 3)))
    grams[12:] *= 1.2
    records = records_of(["a"] * 12 + ["b"] * 12, grams)
    trial = dataclasses.replace(records.trial, costs=costs)
    return analyse(dataclasses.replace(records, trial=trial))


def test_money_is_price_times_the_finding_about_yield() -> None:
    analysis = made(COSTS)
    finding = next(one for one in analysis.findings if one.id == "yield-started-b")
    (money,) = analysis.worth.differences
    for name in ("value", "low", "high"):
        grams = getattr(finding.estimate, name)
        assert getattr(money.per_unit, name) == pytest.approx(0.012 * grams, rel=1e-12)
    assert money.per_week.low < money.per_week.value < money.per_week.high
    for best in analysis.worth.best:
        assert sum(share for _, share in best.others) == pytest.approx(1.0)
        assert best.sure == dict(best.others)[best.flushes]
        assert all(loss >= 0 for _, loss in best.wrong)
        for turn in best.turnings:
            assert turn.price_per_kg * turn.cost_per_unit == pytest.approx(12.0 * 1.6, rel=1e-9)


def test_without_a_price_nothing_is_said_and_without_days_no_rule() -> None:
    assert made(Costs()).worth is None
    half = made(Costs(price_per_kg=12.0)).worth
    assert half.differences
    assert not half.best
    assert half.differences[0].per_week is None

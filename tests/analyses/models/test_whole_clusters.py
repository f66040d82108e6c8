"""Bounds that hold whatever the units of a batch share."""

from __future__ import annotations

import numpy as np
import pytest

from analyses.models.counts.one_share import clopper_pearson
from analyses.models.counts.whole_clusters import hit_cluster_limits, whole_cluster_limits


@pytest.mark.parametrize(("k", "upper"), [(10, 0.3085), (20, 0.1684), (30, 0.1157), (60, 0.0596)])
def test_none_lost_is_the_exact_bound_of_zero_events(k, upper):
    """Exact 97.5 % bounds of 0/n, 1 - .025^(1/n), each batch as one unit."""
    assert whole_cluster_limits(k, k) == pytest.approx((-upper, upper), abs=5e-5)
    assert whole_cluster_limits(k, k, all1=True, all2=True) == pytest.approx(
        (-upper, upper), abs=5e-5
    )


@pytest.mark.parametrize(("k1", "k2"), [(6, 6), (3, 6), (2, 20), (20, 2), (1, 30)])
def test_all_against_none_by_search(k1, k2):
    u = np.linspace(1e-4, 1, 400_001)
    v = (0.025 / u**k1) ** (1 / k2)
    least = (u + v)[v <= 1].min() - 1
    low, high = whole_cluster_limits(k1, k2, all1=True)
    assert (low, high) == (pytest.approx(least, abs=1e-5), 1.0)
    # The other way round is the mirror image, with the groups exchanged.
    assert whole_cluster_limits(k2, k1, all2=True) == (-1.0, pytest.approx(-low, abs=1e-12))


def test_hits_go_on_from_no_hit():
    assert hit_cluster_limits((0, 0), (6, 9)) == pytest.approx(whole_cluster_limits(6, 9))
    low, high = hit_cluster_limits((1, 2), (6, 6))
    assert high == pytest.approx(clopper_pearson(1, 6).high)
    assert low == pytest.approx(-clopper_pearson(2, 6).high)


@pytest.mark.parametrize("kind", ["all or none", "one by one", "one bad batch"])
def test_the_bound_holds_however_batches_hang_together(kind):
    """Chance of no loss in six batches at a mean share on the bound: at most 2.5 %."""
    _, share = whole_cluster_limits(6, 6)
    chance = {
        "all or none": (1 - share) ** 6,
        "one by one": (1 - share) ** (6 * 12),
        # A batch is bad with twice the chance and then loses half of its twelve.
        "one bad batch": (1 - min(1, 2 * share) * (1 - 0.5**12)) ** 6,
    }[kind]
    assert chance <= 0.025 + 1e-12


def test_no_cluster_no_limit():
    with pytest.raises(ValueError, match="at least one cluster"):
        whole_cluster_limits(0, 4)

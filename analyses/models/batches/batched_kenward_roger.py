"""Kenward & Roger's (1997) small-sample inference for many trials of one nested design."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyses.models.batches.batched_reml import traced
from analyses.models.batches.nested_design import NestedDesign
from analyses.models.batches.nested_sums import TrialSums
from analyses.models.batches.nested_variance import NestedVariance
from analyses.models.numerics.jets import Array, Jet, product
from analyses.models.numerics.sweeping import Swept, sweep

__all__ = ["ContrastInference", "infer_contrasts"]


@dataclass(frozen=True, slots=True)
class ContrastInference:
    """Contrasts of each trial.

    Parameters
    ----------
    estimates, variances, df
        Shape (contrasts, trials); variances with Kenward and Roger's correction.
    residual
        Residual variance, shape (trials,).
    """

    estimates: Array
    variances: Array
    df: Array
    residual: Array


def infer_contrasts(
    design: NestedDesign, sums: TrialSums, ratios: Array, rows: Array, *, errors: bool = True
) -> ContrastInference:
    """Estimate contrasts with Kenward and Roger's covariance and degrees of freedom.

    For one contrast l with Phi = (X'V^-1 X)^-1 the scaled F collapses to df = 2 / A2, A2 =
    sum W_ij (l'Phi P_i Phi l)(l'Phi P_j Phi l) / (l'Phi l)^2 (Kenward & Roger 1997, section 3);
    the variance is that of their equation for Phi_A with a linear covariance structure. A
    variance at zero keeps its place in the information matrix.

    Parameters
    ----------
    design, sums
        The design and the sums of the trials.
    ratios
        Variances over the residual variance, innermost first, shape (terms, trials).
    rows
        Contrasts in basis coefficients, shape (contrasts, rank).
    errors
        Whether to give the variances and degrees of freedom; otherwise they are NaN.
    """
    variance = NestedVariance(design, sums, ratios)
    risen = variance.rise(sums.group_sums)
    rank = rows.shape[1]
    solved = sweep(variance.cross(risen), rank)
    left = sums.rows - solved.kept.sum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        residual = solved.rest[0, 0] / left
    estimates = np.einsum("mr,rt->mt", rows, solved.solution[:, 0])
    if not errors:
        unknown = np.full_like(estimates, np.nan)
        return ContrastInference(
            estimates=estimates, variances=unknown, df=unknown, residual=residual
        )
    with np.errstate(divide="ignore", invalid="ignore"):
        inner = [t.through(lambda a: a[:, :rank]) for t in risen]
        pieces = _weights(variance, sums, ratios, inner, solved)
        spread, shift, pulls = _contrast_forms(variance, sums, ratios, inner, solved, rows, pieces)
        share = np.einsum("ijt,imt,jmt->mt", pieces, pulls, pulls)
        df = 2.0 * spread**2 / share
    return ContrastInference(
        estimates=estimates,
        variances=(spread + 2.0 * shift) * residual,
        df=df,
        residual=residual,
    )


def _with_residual(
    form: Jet, degree: int, whole: Array, ratios: Array
) -> tuple[list[Array], list[list[Array]]]:
    """Add derivatives by the residual variance, by Euler's theorem, at residual variance 1.

    A function homogeneous of `degree` in all variances satisfies sum v_i f_i = degree * f, and
    its derivatives are homogeneous of one degree less. For log|V|, whose value adds
    rows * log(scale) under scaling, `degree` is 1 and `whole` the number of rows.
    """
    terms = len(ratios)
    zero = np.zeros_like(whole)
    wide = ratios if whole.ndim == 1 else ratios[:, None]
    first = [form.first.get(i, zero) for i in range(terms)]
    first.append(degree * whole - sum((wide[i] * first[i] for i in range(terms)), zero))
    second = [[zero] * (terms + 1) for _ in range(terms + 1)]
    for i in range(terms):
        for j in range(terms):
            second[i][j] = form.second.get((min(i, j), max(i, j)), zero)
    inner = -1 if degree == 1 else -2
    for i in (*range(terms), terms):
        known = sum((wide[j] * second[i][j] for j in range(terms)), zero)
        second[i][terms] = second[terms][i] = inner * first[i] - known
    return first, second


def _weights(
    variance: NestedVariance, sums: TrialSums, ratios: Array, risen: list[Jet], solved: Swept
) -> Array:
    """Give W, the inverse of the expected information, shape (terms + 1, terms + 1, trials)."""
    terms, rank = len(ratios), len(solved.inverse)
    inverse = solved.inverse
    sized = np.einsum("qrt,kqrt->kt", inverse, sums.size_cross[:, :rank, :rank])
    trace = variance.form([traced(t, inverse) for t in risen], sized)
    used = solved.kept.sum(axis=0).astype(float)
    # tr(Phi X'V^-1 X) = rank has the form's constant part D'D in it, so `whole` is the rank.
    _, bends = _with_residual(trace, -1, used, ratios)
    _, logs = _with_residual(variance.log_determinant, 1, sums.rows, ratios)
    turned = [
        np.einsum("abt,bct->act", inverse, slope) for slope in variance.cross_slopes(risen, rank)
    ]
    identity = np.eye(rank)[:, :, None] * solved.kept[:, None]
    turned.append(-identity - sum((ratios[i] * turned[i] for i in range(terms)), 0.0 * identity))
    information = np.zeros((terms + 2, terms + 2, len(used)))
    for i in range(terms + 1):
        for j in range(i, terms + 1):
            both = np.einsum("abt,bat->t", turned[i], turned[j])
            one = 0.5 * (-logs[i][j] - bends[i][j] + both)
            if i == j:  # the fixed part leaves only rounding error of this variance
                one = np.where(one > -1e-10 * logs[i][i], one, 0.0)
            information[i, j] = information[j, i] = one
    order = [terms, *range(terms), terms + 1]  # the residual first: it stays when terms coincide
    back = [*range(1, terms + 1), 0]
    inverted = sweep(information[np.ix_(order, order)], terms + 1, 1e-10).inverse
    return inverted[np.ix_(back, back)]


def _contrast_forms(
    variance: NestedVariance,
    sums: TrialSums,
    ratios: Array,
    risen: list[Jet],
    solved: Swept,
    rows: Array,
    weights: Array,
) -> tuple[Array, Array, Array]:
    """Give l'Phi l, l'Phi (sum W_ij (Q_ij - P_i Phi P_j)) Phi l and l'Phi P_i Phi l."""
    terms, rank = len(ratios), rows.shape[1]
    turned = np.einsum("qrt,mr->qmt", solved.inverse, rows)
    spread = np.einsum("mq,qmt->mt", rows, turned)
    sized = np.einsum("kqrt,rmt->kqmt", sums.size_cross[:, :rank, :rank], turned)
    along = variance.rise(np.einsum("gkqt,qmt->gkmt", sums.group_sums[:, :, :rank], turned))
    form = variance.form([product(a, a) for a in along], np.einsum("qmt,kqmt->kmt", turned, sized))
    firsts, seconds = _with_residual(form, -1, spread, ratios)
    slopes = variance.vector_slopes(risen, along, sized)
    there = solved.kept[:, None]
    full = rows.T[:, :, None] * there  # X'V^-1 X Phi l, without the directions left out
    slopes.append(-full - sum((ratios[i] * slopes[i] for i in range(terms)), 0.0 * full))
    solved_slopes = [np.einsum("qrt,rmt->qmt", solved.inverse, one) for one in slopes]
    shift = np.zeros_like(spread)
    for i in range(terms + 1):
        for j in range(terms + 1):
            fitted = np.einsum("qmt,qmt->mt", slopes[i], solved_slopes[j])
            shift += weights[i, j] * (0.5 * seconds[i][j] - fitted)
    return spread, shift, np.stack(firsts)

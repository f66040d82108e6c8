"""Textbook formulas with the whole covariance matrix, slow and plain, to check fast ones by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Dense:
    estimates: np.ndarray
    standard_errors: np.ndarray
    df: np.ndarray
    scaled_slopes: np.ndarray


def dense_mixed(y, x, labels, variances, rows):
    """Kenward and Roger (1997) at given variances, and the REML score there.

    `labels` holds one array per random term, already unique across outer terms; `variances` has
    the residual last. The score of each variance is multiplied by its standard error.
    """
    parts = [(one[:, None] == one[None]).astype(float) for one in labels] + [np.eye(len(y))]
    v = sum(s * g for s, g in zip(variances, parts, strict=True))
    inverse = np.linalg.inv(v)
    phi = np.linalg.inv(x.T @ inverse @ x)
    p = inverse - inverse @ x @ phi @ x.T @ inverse
    pg = [p @ g for g in parts]
    information = np.array([[0.5 * np.sum(a * b.T) for b in pg] for a in pg])
    w = np.linalg.inv(information)
    slopes = np.array([0.5 * (y @ a @ p @ y - np.trace(a)) for a in pg])
    big_p = [-x.T @ inverse @ g @ inverse @ x for g in parts]
    middle = np.zeros_like(phi)
    for i, gi in enumerate(parts):
        for j, gj in enumerate(parts):
            q = x.T @ inverse @ gi @ inverse @ gj @ inverse @ x
            middle += w[i, j] * (q - big_p[i] @ phi @ big_p[j])
    adjusted = phi + 2 * phi @ middle @ phi
    beta = phi @ x.T @ inverse @ y
    pulls = np.array([[row @ phi @ one @ phi @ row for row in rows] for one in big_p])
    spread = np.array([row @ phi @ row for row in rows])
    a2 = np.einsum("ij,im,jm->m", w, pulls, pulls) / spread**2
    errors = np.sqrt([row @ adjusted @ row for row in rows])
    return Dense(rows @ beta, errors, 2 / a2, slopes * np.sqrt(np.diag(w)))

"""An interval said as a range that fits."""

from __future__ import annotations

import math

from reports.wording.speech import Scene

__all__ = ["bare_range", "fits"]


def fits(scene: Scene) -> str:
    """Say an interval as a range that fits: between 20 g and 90 g more.

    Parameters
    ----------
    scene : Scene
        The finding made ready.
    """
    low, high = scene.span.low, scene.span.high
    if scene.direction == "either":
        return (
            f"anything from {_bound(scene, low, 'less')} to "
            f"{_bound(scene, high, 'more')}{scene.tail}"
        )
    near, far = sorted((abs(low), abs(high)))
    word = scene.word(scene.direction)
    if not math.isfinite(far):
        return f"{scene.amount(near)} {word}{scene.tail} or beyond"
    return f"between {scene.amount(near)} and {scene.amount(far)} {word}{scene.tail}"


def bare_range(scene: Scene) -> str:
    """Say the range without per bag, for a sentence that has said it already.

    Parameters
    ----------
    scene : Scene
        The finding made ready.
    """
    return fits(scene).replace(scene.tail, "", 1) if scene.tail else fits(scene)


def _bound(scene: Scene, limit: float, outward: str) -> str:
    if not math.isfinite(limit):
        return f"far {scene.word(outward)}"
    if limit == 0:
        return "nothing"
    return f"{scene.amount(limit)} {scene.word('more' if limit > 0 else 'less')}"

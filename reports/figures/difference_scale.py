"""What every scale of a difference has: the zone that the plan speaks of, its key, its ends."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from reports.figures.look import tint
from reports.wording.speech import Scene, margin_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Zone", "draw_zone", "write_ends", "write_key", "zone_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """The stretch of the scale that the plan speaks of, in the measure; open ends infinite."""

    low: float
    high: float
    said: str

    @property
    def edges(self) -> list[float]:
        """The ends that are not open."""
        return [end for end in (self.low, self.high) if math.isfinite(end)]


def zone_of(scene: Scene) -> Zone | None:
    """Give the zone of a finding; None where the plan speaks of none."""
    finding = scene.finding
    if finding.worthwhile is None or not finding.planned:
        return None
    margin, said = finding.worthwhile / scene.measure.per, margin_text(scene)
    good = 1.0 if scene.good == "more" else -1.0
    if finding.claim == "same":
        return Zone(low=-margin, high=margin, said=f"less than {said} either way")
    if finding.claim == "no worse":
        ends = sorted((-good * margin, good * math.inf))
        return Zone(low=ends[0], high=ends[1], said=f"what you allowed, {said}")
    ends = sorted((good * margin, good * math.inf))
    return Zone(low=ends[0], high=ends[1], said=f"worth changing for, {said} or beyond")


def draw_zone(
    axes: Axes, zone: Zone | None, ends: tuple[float, float], middle: float, height: float
) -> None:
    """Shade the zone in one lane, and draw the line of no difference.

    Parameters
    ----------
    axes : matplotlib axes
    zone : Zone or None
        None draws the line alone.
    ends : tuple of float
        Of the scale.
    middle, height : float
        Of the lane.
    """
    lane = [middle - height / 2, middle + height / 2]
    axes.plot([0, 0], lane, color=tint("ink"), lw=1.4, zorder=2)
    if zone is None:
        return
    low, high = max(zone.low, ends[0]), min(zone.high, ends[1])
    axes.fill_betweenx(lane, low, high, color=tint("zone"), lw=0, zorder=-2)
    for end in zone.edges:
        axes.plot([end, end], lane, color=tint("zone edge"), lw=1.2, ls=(0, (4, 2)), zorder=1)


def write_ends(axes: Axes, less: str, more: str, *, drop: float = 20) -> None:
    """Write under the ends of the scale which way is which, `drop` points below it; sign its ticks.

    Parameters
    ----------
    axes : matplotlib axes
    less, more : str
        Words, such as “fewer” and “more”.
    drop : float
        Points.
    """
    axes.xaxis.set_major_formatter(_signed)
    sides: tuple[tuple[float, str, Literal["left", "right"]], ...] = (
        (0.0, f"← {less}", "left"),
        (1.0, f"{more} →", "right"),
    )
    for x, text, side in sides:
        axes.annotate(
            text, (x, 0), xycoords="axes fraction", xytext=(0, -drop), textcoords="offset points",
            ha=side, va="top", size=9, color=tint("ink"), weight="bold",
        )  # fmt: skip


def write_key(axes: Axes, text: str, *, left: float = 0, drop: float = 47) -> None:
    """Say under the scale what the shaded part means, at an offset in points."""
    axes.annotate(
        "■", (0, 0), xycoords="axes fraction", xytext=(left, -drop), textcoords="offset points",
        va="top", size=11, color=tint("zone edge"),
    )  # fmt: skip
    axes.annotate(
        text, (0, 0), xycoords="axes fraction", xytext=(left + 13, -drop - 1),
        textcoords="offset points", va="top", size=8.5, color=tint("muted"), linespacing=1.25,
    )  # fmt: skip


def _signed(value: float, _place: float) -> str:
    return f"{value:+g}".replace("-", "−") if value else "0"

"""What a larger trial would tell: how the range that fits narrows as units are added."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from analyses.finding import Finding
from analyses.larger_trial import Width, widths
from reports.figures.axes import inch_axes, rule_levels
from reports.figures.look import Frame, marker, paint, series, tint
from reports.parts.blocks import Figure
from reports.wording.grammar import listed, plural
from reports.wording.names import printable, treatment_names
from reports.wording.numbers import step_for
from reports.wording.overview import planned_findings
from reports.wording.speech import Scene, margin_text, set_scene

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_larger"]

_HEIGHT, _FOOT, _LEFT, _TOP = 2.0, 0.55, 0.62, 0.26


def figure_larger(analysis: Analysis) -> Figure | None:
    """Show how wide the range would be in a trial two, three or four times as large.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    Figure or None
        For the first planned comparison; None where it has no range.
    """
    trial = analysis.records.trial
    for finding in planned_findings(analysis.findings):
        told = widths(finding, trial)
        if told and finding.planned:
            return _figure(analysis, finding, told)
    return None


def _figure(analysis: Analysis, finding: Finding, told: tuple[Width, ...]) -> Figure:
    scene = set_scene(finding, analysis.records.trial)
    units = plural(finding.estimate.unit_counted)
    said = [f"{_amount(scene, one)} with {one.units} {units}" for one in told]
    margin = _margin(scene)
    frame = Frame(
        name="larger", title=_title(scene, told, units), height=_HEIGHT,
        alt=f"How far the range that fits reaches to either side of the best guess: {listed(said)}."
        + (f" The level line: {margin}." if margin else ""),
        caption=_caption(analysis, scene, units, margin),
    )  # fmt: skip
    index = list(treatment_names(analysis.records.trial)).index(finding.estimate.treatment)

    def draw(sheet: Sheet, share: float) -> None:
        axes = inch_axes(sheet, share, _HEIGHT, left=_LEFT, foot=_FOOT, top=_TOP, right=0.3)
        _draw(axes, scene, told, index)
        axes.set_xlabel(f"{units} in the whole trial")
        axes.set_ylabel(f"either side, {scene.measure.word or 'in 100'}")

    return paint(frame, draw)


def _amount(scene: Scene, one: Width, *, bare: bool = False) -> str:
    """Say a half-width to two figures; bare where the scale says of what."""
    half = one.half_width / scene.measure.per
    finest = scene.measure.finest if scene.measure.word else 0.0
    text = scene.measure.say(half, step_for(half, finest=finest))
    return text if bare or scene.measure.word else f"{text} in a hundred"


def _title(scene: Scene, told: tuple[Width, ...], units: str) -> str:
    now, twice = told[0], told[1]
    return (
        f"Twice as many {units} would narrow the range from {_amount(scene, now)} to "
        f"{_amount(scene, twice)} either side."
    )


def _margin(scene: Scene) -> str:
    if scene.finding.worthwhile is None:
        return ""
    word = "worth changing for" if scene.finding.claim == "better" else "allowed"
    return f"{margin_text(scene)}, {word}"


def _caption(analysis: Analysis, scene: Scene, units: str, margin: str) -> str:
    block = printable(analysis.records.trial.design.block)
    more = f"more {plural(block)} of the same kind" if block else f"more {units}"
    rough = "" if scene.finding.estimate.df is not None else " Rough: it falls with the root."
    return (
        f"The mark at the left is this trial; the others are two, three and four times as many "
        f"{units}, with {more}, if they vary as they did here.{rough}"
        + (f" The dashed line: {margin}." if margin else "")
    )


def _draw(axes: Axes, scene: Scene, told: tuple[Width, ...], index: int) -> None:
    per, colour = scene.measure.per, series(index)
    at = [one.units for one in told]
    halves = [one.half_width / per for one in told]
    axes.plot(at, halves, color=colour, lw=1.4, zorder=2)
    axes.plot(at, halves, ls="", marker=marker(index), ms=8, color=colour, zorder=3,
              markeredgecolor=tint("paper"), markeredgewidth=0.8)  # fmt: skip
    axes.plot(at[:1], halves[:1], ls="", marker=marker(index), ms=8, color=tint("ink"), zorder=4,
              markeredgecolor=tint("paper"), markeredgewidth=0.8)  # fmt: skip
    for one, x, y in zip(told, at, halves, strict=True):
        axes.annotate(
            _amount(scene, one, bare=True), (x, y), xytext=(0, 8), textcoords="offset points",
            ha="center", size=8.5,
        )  # fmt: skip
    worth = scene.finding.worthwhile
    top = max([*halves, (worth or 0) / per])
    axes.set_ylim(0, 1.2 * top)
    if worth:
        axes.axhline(worth / per, color=tint("zone edge"), lw=1.2, ls=(0, (4, 2)), zorder=1)
    axes.set_xlim(at[0] - 0.18 * (at[-1] - at[0]), at[-1] + 0.12 * (at[-1] - at[0]))
    axes.set_xticks(at, [str(one) for one in at])
    rule_levels(axes)

"""For a statistician: residuals against fitted values and normal quantiles."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from analyses.influence import UnitLeft, unit_residuals
from reports.figures.axes import rule_levels, strip_frame
from reports.figures.look import WIDTH, Frame, marker, paint, series, tint
from reports.figures.wrapping import wrapped
from reports.parts.blocks import Figure
from reports.wording.grammar import plural
from reports.wording.names import treatment_names, unit_word
from reports.wording.numbers import Measure, measure, step_for

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_residuals"]

_PANEL, _FOOT, _LEFT, _BETWEEN, _TOP, _KEY = 1.6, 0.5, 0.5, 0.5, 0.12, 0.2
_FAR, _FEW = 3.0, 60


def figure_residuals(analysis: Analysis) -> Figure | None:
    """Show what the model of the yield leaves, against what it says and against a normal curve.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    Figure or None
        None where no model of the yield could be fitted.
    """
    rest = unit_residuals(analysis.records, analysis.unit)
    if not rest:
        return None
    trial = analysis.records.trial
    unit = measure("g", trial.weights)
    names = treatment_names(trial)
    shown = [code for code in names if any(one.treatment == code for one in rest)]
    key = _KEY * len(shown)
    frame = Frame(
        name="residuals",
        title=_title(rest, unit_word(trial)),
        height=_PANEL + _FOOT + _TOP + key,
        alt=_alt(rest, unit),
        caption=f"Yield per {unit_word(trial)} started. Left: residuals in standard deviations "
        "against fitted values, random effects included. Right: the same in order against normal "
        "quantiles (Blom 1958); a normal distribution would lie on the line.",
    )  # fmt: skip

    def draw(sheet: Sheet, share: float) -> None:
        whole = frame.height / share
        left, right = (_axes(sheet, whole, place, key) for place in (0, 1))
        _scatter(left, rest, names, unit)
        _quantiles(right, rest, names)
        _write_key(sheet, whole, [(list(names).index(code), names[code]) for code in shown])

    return paint(frame, draw)


def _title(rest: tuple[UnitLeft, ...], unit: str) -> str:
    far = [one.code for one in rest if abs(one.scaled) > _FAR]
    if not far:
        return f"No {unit} lies more than three standard deviations from its fitted value."
    if len(far) == 1:
        return f"One {unit}, {far[0]}, lies more than three standard deviations from its fit."
    return f"{len(far)} {plural(unit)} lie more than three standard deviations from their fit."


def _alt(rest: tuple[UnitLeft, ...], unit: Measure) -> str:
    far = sorted(rest, key=lambda one: -abs(one.scaled))[:3]
    said = ", ".join(f"{one.code} {_scaled(one.scaled)} at {_weight(one, unit)}" for one in far)
    return (
        "Residuals of the yield against fitted values, and in order against normal quantiles. "
        f"Furthest out, in standard deviations: {said}."
    )


def _weight(one: UnitLeft, unit: Measure) -> str:
    """Say a weight to three figures."""
    return unit.say(one.grams / unit.per, step_for(one.grams / unit.per / 10, finest=unit.finest))


def _scaled(value: float) -> str:
    return f"{value:+.1f}".replace("-", "−")


def _axes(sheet: Sheet, whole: float, place: int, key: float) -> Axes:
    wide = (WIDTH - _LEFT - _BETWEEN - 0.12) / 2
    axes = sheet.add_axes(
        (
            (_LEFT + place * (wide + _BETWEEN)) / WIDTH, (_FOOT + key) / whole, wide / WIDTH,
            _PANEL / whole,
        )
    )  # fmt: skip
    strip_frame(axes)
    return axes


def _marks(
    axes: Axes, rest: tuple[UnitLeft, ...], names: dict[str, str], x: str, per: float
) -> None:
    """Mark every unit, colour and shape by treatment; one colour a collection keeps files small."""
    for index, code in enumerate(names):
        mine = [one for one in rest if one.treatment == code]
        axes.scatter(
            [getattr(one, x) / per for one in mine], [one.scaled for one in mine],
            s=22 * min(1.0, _FEW / len(rest)) ** 0.5, color=series(index), marker=marker(index),
            edgecolors=tint("paper"), linewidths=0.5, zorder=2,
        )  # fmt: skip
    axes.axhline(0, color=tint("muted"), lw=0.8, zorder=0)
    rule_levels(axes)


def _scatter(axes: Axes, rest: tuple[UnitLeft, ...], names: dict[str, str], unit: Measure) -> None:
    _marks(axes, rest, names, "fitted_g", unit.per)
    axes.set_xlabel(f"fitted, {unit.word}")
    axes.set_ylabel("residual / SD")


def _quantiles(axes: Axes, rest: tuple[UnitLeft, ...], names: dict[str, str]) -> None:
    _marks(axes, rest, names, "score", 1.0)
    ends = [min(one.score for one in rest), max(one.score for one in rest)]
    axes.plot(ends, ends, color=tint("ink"), lw=1.0, zorder=1)
    axes.set_xlabel("normal quantile")


def _write_key(sheet: Sheet, whole: float, shown: list[tuple[int, str]]) -> None:
    from matplotlib.lines import Line2D

    for line, (index, name) in enumerate(reversed(shown)):
        y = (0.1 + _KEY * line) / whole
        sheet.add_artist(
            Line2D([_LEFT / WIDTH], [y], marker=marker(index), color=series(index), ls="", ms=6,
                   transform=sheet.transFigure, markeredgecolor=tint("paper"))
        )  # fmt: skip
        text = wrapped(name, WIDTH - _LEFT - 0.3, 8.5, most=1)[0]
        sheet.text((_LEFT + 0.14) / WIDTH, y, text, size=8.5, va="center", color=tint("muted"))

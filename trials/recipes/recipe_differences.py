"""What differs between the recipes of a trial besides the thing tested."""

from __future__ import annotations

from trials.recipes.mixture import Mixture, mixture
from trials.trial import Trial

__all__ = ["recipe_differences"]

_MOISTURE, _DRY, _NITROGEN, _SPAWN = 0.01, 0.03, 0.05, 0.003
"""Smaller differences of moisture, dry weight (relative), nitrogen (points) and spawn rate are not
worth a word: kitchen scales and damp sacks do as much. Common practice, no source."""


def recipe_differences(trial: Trial) -> tuple[str, ...]:
    """Compare every recipe with the control's.

    Parameters
    ----------
    trial : Trial

    Returns
    -------
    tuple of str
        A sentence a treatment whose mix differs in water, dry weight, nitrogen or spawn.
    """
    mixes = {one.name: mixture(one) for one in trial.recipes}
    base = mixes.get(trial.control.recipe or "")
    if base is None:
        return ()
    told = []
    for one in trial.challengers:
        other = mixes.get(one.recipe or "")
        parts = _parts(other, base) if other else []
        if parts:
            told.append(f"“{one.name}” against “{trial.control.name}”: {'; '.join(parts)}.")
    return tuple(told)


def _parts(one: Mixture, base: Mixture) -> list[str]:
    parts = []
    if abs(one.moisture - base.moisture) > _MOISTURE:
        parts.append(f"water {100 * one.moisture:.0f} % against {100 * base.moisture:.0f} %")
    if abs(one.dry_g / base.dry_g - 1) > _DRY:
        parts.append(f"dry weight {one.dry_g:.0f} g against {base.dry_g:.0f} g")
    if one.nitrogen and base.nitrogen:
        middle, other = sum(one.nitrogen) / 2, sum(base.nitrogen) / 2
        if abs(middle - other) > _NITROGEN:
            parts.append(f"nitrogen {_range(one.nitrogen)} against {_range(base.nitrogen)}")
    rates = one.spawn_rate, base.spawn_rate
    if rates[0] is not None and rates[1] is not None and abs(rates[0] - rates[1]) > _SPAWN:
        parts.append(f"spawn {100 * rates[0]:.1f} % against {100 * rates[1]:.1f} %")
    return parts


def _range(span: tuple[float, float]) -> str:
    low, high = span
    if high - low < 0.005:
        return f"{low:.2f} %"
    return f"{low:.2f} to {high:.2f} % (rough)"

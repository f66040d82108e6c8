"""``plan.lock``: plan and layout as they were at the draw, and their fingerprint.

The fingerprint is SHA-256 (FIPS 180-4) over the plan in canonical JSON (keys sorted, no spaces,
UTF-8) and over the layout as `Layout.to_csv` writes it, so that a change of comments, quotes or
separators is no change.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from dataclasses import MISSING, asdict, dataclass, fields
from pathlib import Path
from typing import Any

from trials.layout import Layout
from trials.problems import Problem, Problems
from trials.trial import Costs, Design, Ingredient, Recipe, Treatment, Trial

__all__ = ["LOCK_FILE", "Lock", "changes", "make_lock", "read_lock"]

LOCK_FILE = "plan.lock"
_LONGEST_LOCK = 4_000_000

_PARTS = {
    "treatments": "the treatments",
    "design": "the design",
    "aim": "the aim",
    "costs": "the costs",
    "recipes": "the recipes",
}
_NAMES = {"why_this_size": "reason for this size"}
_WRITTEN_DOWN = ("room", "look_alike", "paid_by")
"""Parts of the plan file that may be filled in at any time: no part of what is locked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lock:
    """Plan and layout at the moment of the draw.

    Parameters
    ----------
    drawn : datetime.datetime
        When, with time zone.
    version : str
        The version of pinset that drew it.
    plan : dict
        The plan as plain values.
    layout_sha256 : str
        Of the layout.
    """

    drawn: dt.datetime
    version: str
    plan: dict[str, Any]
    layout_sha256: str

    @property
    def plan_sha256(self) -> str:
        """The fingerprint of the plan alone."""
        return _sha256(_canonical(self.plan))

    @property
    def fingerprint(self) -> str:
        """The fingerprint of plan and layout together."""
        return _sha256(f"{self.plan_sha256}\n{self.layout_sha256}\n")

    def fits_layout(self, layout: Layout) -> bool:
        """Whether a layout is the one that was drawn."""
        return _sha256(layout.to_csv()) == self.layout_sha256

    def fits_design(self, trial: Trial) -> bool:
        """Whether design, treatment codes and control are those that were drawn from."""
        return _drawn_from(self.plan) == _drawn_from(_plain(trial))

    def to_json(self) -> str:
        """Give the text of ``plan.lock``."""
        content = {
            "format": 1,
            "drawn": self.drawn.isoformat(timespec="seconds"),
            "version": self.version,
            "fingerprint": self.fingerprint,
            "plan_sha256": self.plan_sha256,
            "layout_sha256": self.layout_sha256,
            "plan": self.plan,
        }
        return json.dumps(content, indent=1, ensure_ascii=False) + "\n"


def make_lock(trial: Trial, layout: Layout, *, drawn: dt.datetime, version: str) -> Lock:
    """Lock a plan with the layout drawn from it.

    Parameters
    ----------
    trial : Trial
    layout : Layout
    drawn : datetime.datetime
        The moment of the draw, with time zone.
    version : str
        The version of pinset.

    Returns
    -------
    Lock
    """
    return Lock(
        drawn=drawn, version=version, plan=_plain(trial), layout_sha256=_sha256(layout.to_csv())
    )


def read_lock(folder: Path) -> Lock | None:
    """Read the lock of a trial folder, or give None when there is none.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    Lock or None

    Raises
    ------
    Problems
        It is there and was changed by hand.
    """
    path = folder / LOCK_FILE
    if not path.exists():
        return None
    try:
        if not path.is_file() or path.stat().st_size > _LONGEST_LOCK:
            raise ValueError("no lock is so long")
        content = json.loads(path.read_text(encoding="utf-8"))
        lock = Lock(
            drawn=dt.datetime.fromisoformat(content["drawn"]),
            version=str(content["version"]),
            plan=dict(content["plan"]),
            layout_sha256=str(content["layout_sha256"]),
        )
        whole = content["fingerprint"] == lock.fingerprint
        _lean(lock.plan), _drawn_from(lock.plan)  # the shape of a plan, not only its fingerprint
    except OSError as error:
        mend = "Put it where it can be read, as the draw made it."
        what = f"cannot be opened ({error.strerror or type(error).__name__})"
        raise Problems([Problem(file=LOCK_FILE, what=what, mend=mend)]) from error
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        whole = False
    if not whole:
        mend = "Put back the file as the draw made it, or draw again with --redraw."
        what = "was changed after the draw, so that it proves nothing"
        raise Problems([Problem(file=LOCK_FILE, what=what, mend=mend)])
    return lock


def changes(lock: Lock, trial: Trial) -> tuple[tuple[str, str], ...]:
    """Say what differs between the plan as locked and as it stands.

    Parameters
    ----------
    lock : Lock
    trial : Trial
        The plan as it stands.

    Returns
    -------
    tuple of (str, str)
        The part of the plan (``aim``, ``design``, ``treatments``, ``trial``, ...) and a sentence.
    """
    now, then = _plain(trial), lock.plan
    lean_now, lean_then = _lean(now), _lean(then)
    found = []
    for key in sorted(set(now) | set(then)):
        if lean_now.get(key) == lean_then.get(key):
            continue
        part = key if key in _PARTS else "trial"
        found.append((part, _difference(key, then.get(key), now.get(key))))
    return tuple(found)


def _difference(key: str, then: object, now: object) -> str:
    if isinstance(then, dict) and isinstance(now, dict):
        lean_then, lean_now = (_lean(one, key) if key in _SHAPES else one for one in (then, now))
        told = [
            f"{inner.replace('_', ' ')} was {_told(then.get(inner))}, now {_told(now.get(inner))}"
            for inner in sorted(set(then) | set(now))
            if lean_then.get(inner) != lean_now.get(inner)
        ]
        return f"In {_PARTS.get(key, key)}, {'; '.join(told)}."
    if key in _PARTS:
        return f"{_PARTS[key].capitalize()} were changed."
    name = _NAMES.get(key, key.replace("_", " "))
    return f"The {name} was {_told(then)}, now {_told(now)}."


def _told(value: object) -> str:
    if isinstance(value, dict) and set(value) == {"value", "unit"}:
        return f"{value['value']:g} {value['unit']}"
    return "not given" if value in (None, "") else str(value)


def _plain(trial: Trial) -> dict[str, Any]:
    """Give the plan as values that JSON holds, without what is written down and not planned."""
    plan = dict(json.loads(json.dumps(asdict(trial), default=str)))
    for key in _WRITTEN_DOWN:
        del plan[key]
    return plan


def _drawn_from(plan: dict[str, Any]) -> object:
    treatments = [
        (one["code"], one["control"], one.get("factors") or [])
        for one in plan.get("treatments", ())
    ]
    return _lean(plan).get("design"), treatments


_SHAPES: dict[str, type] = {
    "trial": Trial,
    "design": Design,
    "costs": Costs,
    "treatments": Treatment,
    "recipes": Recipe,
    "ingredients": Ingredient,
    "water": Ingredient,
    "spawn": Ingredient,
}


def _lean(plan: dict[str, Any], part: str = "trial") -> dict[str, Any]:
    """Leave out what holds its default, so that a plan locked before a key was there still fits."""
    defaults = {one.name: one.default for one in fields(_SHAPES[part])}
    kept: dict[str, Any] = {}
    for key, value in plan.items():
        lean = value
        if key in _SHAPES and isinstance(value, dict):
            lean = _lean(value, key)
        elif key in _SHAPES and isinstance(value, list):
            lean = [_lean(one, key) for one in value]
        default = defaults.get(key, MISSING)
        same = lean == (list(default) if isinstance(default, tuple) else default)
        if not same and lean not in ([], {}):
            kept[key] = lean
    return kept


def _canonical(plan: dict[str, Any]) -> str:
    return json.dumps(plan, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()

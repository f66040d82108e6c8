"""The tables of error rates, as Markdown."""

from __future__ import annotations

from collections.abc import Sequence

from tests.calibration.found import WRONG, Found, Rate

__all__ = ["tables"]


def tables(rows: Sequence[Found], *, seed: int) -> str:
    """Give all tables.

    Parameters
    ----------
    rows : sequence of Found
    seed : int
        Of the first scene; each further one has the next.
    """
    trials = rows[0].error.trials
    peer = max((one.peer_error.trials for one in rows if one.peer_error), default=0)
    told = f"Seeds {seed} to {seed + len(rows) - 1}; {trials:,} trials a scene and world"
    told += f", {peer:,} by statsmodels." if peer else "."
    return "\n\n".join([told, _scenes(rows), _rates(rows), _verdicts(rows), _errors(rows)])


def _scenes(rows: Sequence[Found]) -> str:
    return "\n".join(f"{place}. {one.scene.name}" for place, one in enumerate(rows, start=1))


def _rates(rows: Sequence[Found]) -> str:
    heads = [
        "scene", "finds what is not there", "one comparison", "statsmodels",
        "range holds the truth", "one comparison", "statsmodels", "bias", "withheld",
    ]  # fmt: skip
    lines = [
        [
            str(place), one.error, one.error_alone, one.peer_error, one.coverage,
            one.coverage_alone, one.peer_coverage, f"{one.bias.value:+.2f}", one.withheld,
        ]
        for place, one in enumerate(rows, start=1)
    ]  # fmt: skip
    return _table(heads, lines)


def _verdicts(rows: Sequence[Found]) -> str:
    lines = [
        [str(place), *(one.wrong[name] for name in WRONG)]
        for place, one in enumerate(rows, start=1)
    ]
    return _table(["scene", *WRONG], lines)


def _errors(rows: Sequence[Found]) -> str:
    """Say how sure the rates are."""
    largest = {
        "a rate near 5 or 95 %": max(max(one.error.error, one.coverage.error) for one in rows),
        "one near 2.5 %": max(rate.error for one in rows for rate in one.wrong.values()),
        "the bias": max(one.bias.error for one in rows),
    }
    peers = [one.error for row in rows for one in (row.peer_error, row.peer_coverage) if one]
    if peers:
        largest["a rate of statsmodels"] = max(peers)
    told = ", ".join(f"{error:.2f} of {what}" for what, error in largest.items())
    failed = [
        f"{row.peer_failed} % of scene {place}"
        for place, row in enumerate(rows, start=1)
        if row.peer_failed and row.peer_failed.value
    ]
    left = f" statsmodels gives no range in {', '.join(failed)}." if failed else ""
    return f"Largest Monte-Carlo standard errors: {told}.{left}"


def _table(heads: Sequence[str], lines: Sequence[Sequence[str | Rate | None]]) -> str:
    rule = ["---:" for _ in heads]
    shown = [["" if cell is None else str(cell) for cell in line] for line in lines]
    return "\n".join(f"| {' | '.join(line)} |" for line in [heads, rule, *shown])

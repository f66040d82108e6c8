"""A folder as one types it after a command: in quotes where it holds a space."""

from __future__ import annotations

from trials.plan_reader import tidy_text

__all__ = ["typed"]


def typed(folder: object) -> str:
    """Give a folder so that the line can be typed, or copied, as it stands.

    Parameters
    ----------
    folder : str or pathlib.Path

    Examples
    --------
    >>> typed("okara-or-bran"), typed("my trial")
    ('okara-or-bran', '"my trial"')
    """
    shown = tidy_text(str(folder))
    return f'"{shown}"' if any(one in " &()'" for one in shown) else shown

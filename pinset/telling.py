"""How the command line tells what it did and what it found."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Mapping

from trials.problems import Problem

__all__ = ["tell", "tell_problems"]

_MOST_TOLD = 200


def tell(done: str, then: str = "", *, as_json: bool, more: Mapping[str, object]) -> int:
    """Say in one line what was done and in another what to do next.

    Parameters
    ----------
    done, then : str
        Sentences.
    as_json : bool
        Print the machine's form.
    more : mapping
        What the machine's form holds besides.

    Returns
    -------
    int
        0, the exit code.
    """
    if as_json:
        print(json.dumps({"ok": True, "done": done, "next": then, **more}, ensure_ascii=False))
        return 0
    print(done)
    if then:
        print(f"Next: {then}")
    return 0


def tell_problems(problems: Iterable[Problem], *, as_json: bool) -> int:
    """List every mistake and every doubt, mistakes first.

    Parameters
    ----------
    problems : iterable of Problem
    as_json : bool
        Print the machine's form.

    Returns
    -------
    int
        1, the exit code.
    """
    ordered = sorted(problems, key=lambda one: one.weight != "mistake")
    if as_json:
        listed = [one.to_dict() for one in ordered]
        print(json.dumps({"ok": False, "problems": listed}, ensure_ascii=False))
        return 1
    mistakes = [one for one in ordered if one.weight == "mistake"]
    count = len(mistakes)
    print(f"{count} {'thing' if count == 1 else 'things'} to mend:", file=sys.stderr)
    for number, one in enumerate(mistakes[:_MOST_TOLD], start=1):
        print(f"{number:>3}. {one}", file=sys.stderr)
    if count > _MOST_TOLD:
        print(f"     and {count - _MOST_TOLD} more; --json lists them all.", file=sys.stderr)
    doubts = ordered[count:]
    if doubts:
        print("Worth a look as well:", file=sys.stderr)
        for one in doubts[:_MOST_TOLD]:
            print(f"   - {one}", file=sys.stderr)
        if len(doubts) > _MOST_TOLD:
            print(f"   and {len(doubts) - _MOST_TOLD} more; --json lists them.", file=sys.stderr)
    print(
        "Nothing of yours was changed. Mend these and run the same command again.", file=sys.stderr
    )
    return 1

"""The command line: parse, call one command, print; every error told in plain words.

Exit codes: 0 done; 1 the grower's files have problems; 2 wrong use.
"""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Sequence

from pinset.version import __version__

__all__ = ["COMMANDS", "main"]

COMMANDS = (
    "new",
    "size",
    "layout",
    "check",
    "analyse",
    "report",
    "rehearse",
    "invite",
    "pool",
    "demo",
)

_ABOUT = "Plan, run, read and tell fair side-by-side grow trials."
_END = """\
A trial lives in a folder of its own. The usual way:
  pinset new okara-or-bran        write a plan to fill in
  pinset layout okara-or-bran     draw the layout, make labels and record book
  pinset check okara-or-bran      find mistakes in the records, at any time
  pinset report okara-or-bran     make the page for the group
To see a whole trial first:  pinset demo my-demo
"""


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command.

    Parameters
    ----------
    argv : sequence of str or None
        The words after ``pinset``; None takes them from the system.

    Returns
    -------
    int
        The exit code.
    """
    _speak_utf8()
    args = _parser().parse_args(argv)
    command = importlib.import_module(f"pinset.commands.{args.command}")
    from trials.problems import Problems, Refused

    try:
        return int(command.run(args))
    except Problems as error:
        from pinset.telling import tell_problems

        return tell_problems(error.problems, as_json=args.json)
    except Refused as error:
        return _tell_refusal(str(error), as_json=args.json, code=2)
    except KeyboardInterrupt:
        return _tell_refusal("Stopped. Run the same command again.", as_json=False, code=130)
    except OSError as error:
        where = f" “{error.filename}”" if error.filename else ""
        told = f"The file{where} cannot be read or written: {error.strerror or error}."
        return _tell_refusal(told, as_json=args.json, code=1)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="pinset",
        description=_ABOUT,
        epilog=_END,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"pinset {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name in COMMANDS:
        module = importlib.import_module(f"pinset.commands.{name}")
        about = (module.__doc__ or name).strip().splitlines()[0]
        one = commands.add_parser(name, help=about[:1].lower() + about[1:-1], description=about)
        module.add_arguments(one)
        one.add_argument("--json", action="store_true", help="print the machine's form")
    return parser


def _tell_refusal(told: str, *, as_json: bool, code: int) -> int:
    if as_json:
        import json

        print(json.dumps({"ok": False, "refused": told}, ensure_ascii=False))
    else:
        print(told, file=sys.stderr)
    return code


def _speak_utf8() -> None:
    """Print any letter on any terminal, with a substitute where it has none."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")

"""The command line: parse, call one command, print; every error told in plain words.

Exit codes: 0 done; 1 the grower's files have problems; 2 wrong use; 3 a mistake of our own.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import os
import sys
from collections.abc import Sequence

from pinset.plain_stream import plain_output
from pinset.version import __version__

__all__ = ["COMMANDS", "main"]

COMMANDS = (
    "new",
    "size",
    "rehearse",
    "layout",
    "check",
    "analyse",
    "report",
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
    with plain_output():
        args = _parser().parse_args(argv)
        try:
            return _run(args)
        except BrokenPipeError:  # whoever read along has stopped, as “head” does
            _print_no_more()
            return 1


def _run(args: argparse.Namespace) -> int:
    # The matrices of a trial are small: several threads wait for each other longer than they work.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    command = importlib.import_module(f"pinset.commands.{args.command}")
    from trials.problems import Problems, Refused

    try:
        code = int(command.run(args))
        sys.stdout.flush()
        return code
    except Problems as error:
        from pinset.telling import tell_problems

        return tell_problems(error.problems, as_json=args.json)
    except Refused as error:
        return _tell_refusal(str(error), as_json=args.json, code=2)
    except KeyboardInterrupt:
        return _tell_refusal("Stopped. Run the same command again.", as_json=False, code=130)
    except BrokenPipeError:
        raise
    except OSError as error:
        where = f" “{error.filename}”" if error.filename else ""
        told = (
            f"The file{where} cannot be read or written: {error.strerror or error}. See that it "
            "is there and that you may use it, and that the disk has room; then run it again."
        )
        return _tell_refusal(told, as_json=args.json, code=1)
    except Exception as error:
        if os.environ.get("PINSET_TRACEBACK"):
            raise
        return _tell_refusal(_our_fault(error), as_json=args.json, code=3)


def _our_fault(error: Exception) -> str:
    """Say that a mistake is the program's own; no grower can mend it."""
    import traceback

    last = traceback.extract_tb(error.__traceback__)[-1]
    place = f"{os.path.basename(last.filename)}, line {last.lineno}"  # noqa: PTH119
    return (
        f"A mistake in pinset itself, not in your files: {type(error).__name__} in {place} "
        f"({error}). Nothing of yours was changed. Please tell those who make it what you ran; "
        "PINSET_TRACEBACK=1 before the command shows them more."
    )


def _print_no_more() -> None:
    """Keep the interpreter from writing what is left when it ends."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.__stdout__.fileno())  # type: ignore[union-attr]


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

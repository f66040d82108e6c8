"""Run the command line: ``python -m pinset``."""

from pinset.cli import main

if __name__ == "__main__":
    raise SystemExit(main())

"""The way in: for the installed program, and for ``python -m evidence``."""

from __future__ import annotations

import sys

from evidence.errors import ExitCode


def main() -> None:
    """Run the command line; stopped before it knows what was asked, it ends as if stopped later."""
    try:
        from evidence.cli import main as run  # noqa: PLC0415 - loading takes a moment; Ctrl-C may come

        run()
    except KeyboardInterrupt:
        sys.exit(ExitCode.INTERRUPTED)


if __name__ == "__main__":
    main()

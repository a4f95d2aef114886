"""Lets `python -m netcheck` run the command line; Ctrl-C prints no traceback, even during start-up."""

import gc
import sys


def main() -> None:
    """Import the command line and run it."""
    # A large plan is millions of objects with hardly any cycles. Imports create many objects too, so this comes first.
    gc.set_threshold(2_000_000, 50, 50)
    try:
        from netcheck.cli.main import run  # imported here, because Ctrl-C may interrupt the import

        run()
    except KeyboardInterrupt:
        sys.exit(130)  # 128 + SIGINT, the convention of shells
    finally:
        # At exit Python searches all objects for cycles, several times. The process ends, so its memory is freed at
        # once; without this call a check of a small plan takes a fifth longer.
        gc.freeze()


if __name__ == "__main__":
    main()

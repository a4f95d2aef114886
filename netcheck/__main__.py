"""Lets `python -m netcheck` run the command line; Ctrl-C is quiet from the first moment on."""

import sys


def main() -> None:
    """Load the command line and run it."""
    try:
        from netcheck.cli.main import run  # here, since loading it takes long enough to be interrupted

        run()
    except KeyboardInterrupt:
        sys.exit(130)  # 128 + SIGINT, the shells' custom


if __name__ == "__main__":
    main()

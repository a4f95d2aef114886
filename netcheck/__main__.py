"""Lets `python -m netcheck` run the command line."""

from netcheck.cli.main import run

if __name__ == "__main__":
    run()

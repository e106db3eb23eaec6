"""The command line. Every error of ours is one sentence on stderr and exit status 2."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence

import padlib
from padlib.cli import bodies, cloth, suits
from padlib.cli.flags import EPILOG
from padlib.errors import PadlibError


def parser() -> argparse.ArgumentParser:
    """The parser of all commands."""
    top = argparse.ArgumentParser(prog="padlib", description=padlib.__doc__, epilog=EPILOG)
    top.add_argument("--version", action="version", version=f"padlib {padlib.__version__}")
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")
    suits.commands(commands)
    bodies.commands(commands)
    cloth.commands(commands)
    suits.workshop(commands)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    arguments = parser().parse_args(argv)
    try:
        return int(arguments.run(arguments))
    except PadlibError as e:
        print(f"padlib: {e}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("padlib: stopped; no output was changed.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1

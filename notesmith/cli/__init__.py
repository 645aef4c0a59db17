"""The command line: thin, one module a room. Only here does the package print or exit."""

from notesmith.cli.main import app, main

__all__ = ["app", "main"]

"""The command line: the only place that reads arguments or prints."""

from contactfe.cli.main import main

__all__ = ["main"]

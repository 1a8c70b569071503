"""The command `contactfe`: finds the subcommand, and turns every failure into a message and an exit code.

Each subcommand lives in a module with a function `register(app)`, which is imported only when its command is
asked for, or to list it. Modules import numerics inside their functions, so that help comes at once.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, MutableMapping, Sequence
from importlib import import_module
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from contactfe import __version__
from contactfe.cli.output import drop_output, flush, say, tell
from contactfe.errors import ContactFEError
from contactfe.files import FULL

COMMANDS: dict[str, str] = {
    "turn": "contactfe.cli.turn",
    "sweep": "contactfe.cli.sweep",
    "report": "contactfe.cli.report",
    "screen": "contactfe.cli.screen",
    "search": "contactfe.cli.search",
    "draw": "contactfe.cli.draw",
    "import": "contactfe.cli.importing",
    "mesh": "contactfe.cli.mesh",
    "init": "contactfe.cli.init",
    "sizes": "contactfe.cli.tables",
    "grades": "contactfe.cli.tables",
    "why": "contactfe.cli.why",
    "band": "contactfe.cli.band",
    "plan": "contactfe.cli.plan",
    "log": "contactfe.cli.log",
    "score": "contactfe.cli.score",
    "compare": "contactfe.cli.compare",
    "verify": "contactfe.cli.verify",
    "bench": "contactfe.cli.bench",
}
"""Every subcommand, in the order of the help page, and the module that registers it."""

INTERRUPTED = 130
_HELP = (
    "Estimates what torque a wrench delivers on a hex fastener and what ends it, before anything is broken."
)
_EPILOG = (
    "Exit codes: 0 done, 1 bad input or file, 2 usage, 3 some cases of a study failed, "
    "4 a verification failed, 130 interrupted. Results go to stdout, everything else to stderr."
)


def new_app() -> typer.Typer:
    """Return an empty application with the settings that all commands share."""
    return typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)


class Interrupted(Exception):
    """Ctrl-C while a command ran: some versions of the argument parser make exit code 1 of it."""


class LazyCommands(MutableMapping[str, Any]):
    """The subcommands by name; a module is imported when one of its commands is looked up."""

    def __init__(self) -> None:
        self._loaded: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in self._loaded:
            app = new_app()
            import_module(COMMANDS[name]).register(app)
            self._loaded.update(typer.main.get_group(app).commands)
        return self._loaded[name]

    def __setitem__(self, name: str, command: Any) -> None:
        self._loaded[name] = command

    def __delitem__(self, name: str) -> None:
        raise KeyError(name)

    def __iter__(self) -> Iterator[str]:
        return iter(COMMANDS)

    def __len__(self) -> int:
        return len(COMMANDS)


class LazyGroup(TyperGroup):
    """The group of all subcommands."""

    def __init__(self, **attributes: Any) -> None:
        super().__init__(**attributes)
        self.commands = LazyCommands()

    def list_commands(self, ctx: Any) -> list[str]:
        """Return the names in the order of the help page."""
        return list(COMMANDS)

    def invoke(self, ctx: Any) -> Any:
        """Run the subcommand; an interrupt becomes an exception that the argument parser leaves alone."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt as error:
            raise Interrupted from error


def _version(wanted: bool) -> None:
    if wanted:
        say(f"contactfe {__version__}")
        raise typer.Exit


def _application() -> typer.Typer:
    app = typer.Typer(
        cls=LazyGroup,
        help=_HELP,
        epilog=_EPILOG,
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["--help", "-h"]},
    )

    @app.callback()
    def top(
        version: Annotated[
            bool,
            typer.Option("--version", callback=_version, is_eager=True, help="Show the version and end."),
        ] = False,
        debug: Annotated[bool, typer.Option("--debug", help="Show the full trace of a failure.")] = False,
    ) -> None:
        pass

    return app


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code; never lets an exception through, except with --debug."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    debug = "--debug" in words
    # One thread per process: the arrays are small, and a sweep has its own processes. Before numpy comes.
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    try:
        return _run([word for word in words if word != "--debug"])
    except Exception as error:
        if debug:
            raise
        return _explained(error)


def _run(words: list[str]) -> int:
    """Run the argument parser to its end and return the exit code; failures of commands come through."""
    try:
        typer.main.get_command(_application()).main(args=words, prog_name="contactfe")
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else int(end.code is not None)
        if code == INTERRUPTED:
            tell("contactfe: interrupted")
        flush()
        return code
    except KeyboardInterrupt as error:
        raise Interrupted from error
    flush()
    return 0


def _explained(error: Exception) -> int:
    """Say on stderr what went wrong and return the exit code."""
    if isinstance(error, Interrupted):
        tell("contactfe: interrupted")
        return INTERRUPTED
    if isinstance(error, BrokenPipeError):
        drop_output()  # its reader has gone
        return 1
    if isinstance(error, ContactFEError):
        tell(f"contactfe: {error}")
        return error.exit_code
    if isinstance(error, OSError) and error.filename is not None:
        tell(f"contactfe: {error.filename}: {error.strerror}")
        return 1
    if isinstance(error, OSError) and error.errno in FULL:
        drop_output()
        tell(
            f"contactfe: the output cannot be written: {error.strerror}; free some space, or write it elsewhere"
        )
        return 1
    tell(f"contactfe: unexpected {type(error).__name__}: {error}; `contactfe --debug ...` shows where")
    return 1

"""The commands by the stages of the job; each is imported only when it is called."""

import os
import sys
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup

from buildbook.book.places import Misuse
from buildbook.records.finding import did_you_mean

STAGES: dict[str, dict[str, str]] = {
    "Begin": {
        "tour": "Walk through the whole job on practice engines",
        "new": "Begin a book, an engine or a build",
    },
    "Look after the book": {
        "check": "Check one file, one build or the whole book",
        "show": "Show a build on one screen: done, missing, found",
        "next": "Say what is left to do, and the command that does it",
    },
    "Weigh and match": {
        "weigh": "Weigh piece by piece, at the keyboard or from the scale",
        "weighings": "Sum up what was weighed, and what the scale can tell",
        "match": "Find the pairing with the evenest reciprocating weight",
        "place": "Choose which matched set goes into which cylinder",
        "map": "Show which piece goes where, for the wall at assembly",
    },
    "Measure and fit": {
        "measure": "Record what a gauge showed: journals, bores, gaps, volumes",
        "fits": "Hold every clearance against its limit, worst first",
        "shells": "Choose the bearing shells that bring journals nearest",
        "compression": "Work out every cylinder's compression, and what changes it",
        "motion": "Displacement, piston motion, and the load on a rod bolt",
    },
    "Understand the engine": {
        "layout": "Draw the engine: banks, throws and firing order",
        "shaking": "Work out the forces and moments that shake it",
        "factor": "Find the balance factor that leaves the least",
    },
    "Balance": {
        "bobweight": "Work out the bobweight of each throw, and record it as set",
        "spin": "Record a spin of the crankshaft",
        "correct": "Record what was done: drill, plug, grind, add, fit",
        "spins": "Tell the whole story, and whether to stop",
        "plan": "Plan the hole that can really be drilled",
        "prove": "Say what the spins prove of machine and parts",
        "trial": "Balance with a pickup, a strobe and trial weights",
    },
    "Print and hand over": {
        "sheet": "Print the build sheet: for the customer, the shop or the wall",
        "labels": "Print tags for the pieces",
        "export": "Write the book's records as CSV files or one SQLite file",
    },
    "Keep and look back": {
        "keep": "Commit what was edited by hand, with a message of what changed",
        "history": "Tell the life of an engine or a build as a timeline",
        "diff": "Compare two builds, or two states of one, by what they mean",
        "trace": "Say where a figure came from, down to the reading",
        "find": "Find engines by owner, serial, part, date, words or figures",
        "trend": "Follow a figure through the builds of an engine or family",
        "sign": "Sign a stage off, and seal the build at the last one",
        "reopen": "Open a signed build again, and say why",
        "audit": "Ask whether anything was touched after it was signed",
        "sync": "Bring two benches together through a git remote",
    },
}

COMMANDS = {name: line for stage in STAGES.values() for name, line in stage.items()}


class Stages(TyperGroup):
    """A group that knows its commands by name and imports the one that is called."""

    def list_commands(self, ctx: Any) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        if cmd_name not in COMMANDS:
            return None
        return typer.main.get_command(import_module(f"buildbook.cli.{cmd_name}").app)

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            remedy = did_you_mean(args[0], COMMANDS, "see 'buildbook --help'")
            raise Misuse(f"there is no command '{args[0][:40]}'", remedy)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        for stage, commands in STAGES.items():
            with formatter.section(stage):
                formatter.write_dl([(name.ljust(max(map(len, COMMANDS))), line) for name, line in commands.items()])


app = typer.Typer(
    cls=Stages,
    rich_markup_mode=None,
    no_args_is_help=True,
    context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 100},
    epilog="Example: buildbook tour.  Every command takes --help and --json.  "
    "It exits with 0 when all is well, 1 for findings, 2 when it was not asked right.",
)


@app.callback()
def _buildbook(
    version: bool = typer.Option(False, "--version", help="Show the version.", is_eager=True, show_default=False),
) -> None:
    """A plain-text record of every engine a shop builds, with the balancing worked out and proven."""


_STOPPED = 130  # how a shell counts a command that was stopped at the keyboard


def run() -> int:
    """Run the command line and return the exit code: never a traceback, one clear message."""
    sys.stdout = sys.stdout or open(os.devnull, "w")  # noqa: SIM115 (closed by our caller)
    sys.stderr = sys.stderr or open(os.devnull, "w")  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        typer.main.get_command(app)(prog_name="buildbook")
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0
        if code == _STOPPED and isinstance(end.__context__, typer.Abort):  # else the command has said it itself
            _say_stopped()
        return code
    except KeyboardInterrupt:
        _say_stopped()
        return _STOPPED
    except Misuse as misuse:
        _say(misuse.what, misuse.remedy)
        return 2
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        _say(f"{place}{error.strerror or error}", "nothing more was written; put it right and run the command again")
        return 2
    except Exception as error:
        if os.environ.get("BUILDBOOK_TRACEBACK"):
            raise
        _say(f"this is a fault of buildbook itself ({type(error).__name__}: {error})",
             "run it again with BUILDBOOK_TRACEBACK=1 and send what it prints to its makers")  # fmt: skip
        return 3
    return 0


def _say_stopped() -> None:
    """Without rich: whoever stops a command a second time does not wait for an import."""
    print("stopped; what was written before stays, and 'buildbook check' says what is not kept", file=sys.stderr)  # noqa: T201


def _say(what: str, remedy: str) -> None:
    from buildbook.views.screen import BAD, BOLD, console, line

    to = console(error=True)
    to.print(line(("buildbook: ", BAD), what))
    to.print(line(("→ ", BOLD), remedy))

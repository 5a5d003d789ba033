"""What the tests of whole commands share: the sample builds' screens, and git."""

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import NamedTuple

from conftest import SAMPLES

BUILDS = (
    "dunlin-21/2026-05-first",
    "heron-07/2025-06-first",
    "heron-07/2026-10-rebuild",
    "magpie-02/2026-07-first",
    "plover-03/2026-03-first",
)

# Every screen that a builder sees of a build.
SCREENS = (
    *("show", "weighings", "match", "bobweight", "map", "spins", "prove"),
    *("weighings --kind pin_locks", "weighings --kind rod"),
    *("fits", "fits --kind bore_taper", "fits --kind piston_clearance", "match --with-bores", "compression", "motion"),
    *("history", "trace rod_big_end_spread"),
    *("layout", "shaking", "factor", "place", "bobweight --by-throw", "next"),
)


class Shown(NamedTuple):
    code: int
    stdout: str
    stderr: str


# Runs command lines one after the other in a process of its own, each with pipes of its own; starting Python again for
# every one of them would take most of the time.
_ONE_AFTER_THE_OTHER = """\
import io, json, sys
from buildbook.cli.main import run

def shown(arguments):
    sys.argv = ["buildbook", *arguments]
    sys.stdout, sys.stderr = pipes = [io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2)]
    code = run()
    for pipe in pipes:
        pipe.flush()
    return [code, *(pipe.buffer.getvalue().decode() for pipe in pipes)]

print(json.dumps([shown(arguments) for arguments in json.loads(sys.argv[1])]), file=sys.__stdout__)
"""


def one_after_the_other(commands: Sequence[str | Sequence[str]], cwd: Path, columns: int = 80) -> list[Shown]:
    """What each command, its words parted by spaces or given one by one, prints into a pipe."""
    words = [command.split(" ") if isinstance(command, str) else list(command) for command in commands]
    done = subprocess.run(
        [sys.executable, "-c", _ONE_AFTER_THE_OTHER, json.dumps(words)],
        cwd=cwd,
        env={**os.environ, "COLUMNS": str(columns)},
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    return [Shown(*each) for each in json.loads(done.stdout)]


@cache
def screens(build: str, columns: int = 80) -> dict[str, str]:
    """Every screen of a sample build; each is made once, for no command here writes."""
    shown = one_after_the_other([f"{command} {build}" for command in SCREENS], SAMPLES, columns)
    assert [(each.code, each.stderr) for each in shown] == [(0, "")] * len(SCREENS)
    return {command: each.stdout for command, each in zip(SCREENS, shown, strict=True)}


def git(folder: Path, *arguments: str) -> str:
    """What git says, without any settings of the machine."""
    env = {name: value for name, value in os.environ.items() if not name.startswith("GIT_")}
    identity = ["-c", "user.name=Test", "-c", "user.email=test@example.org"]
    done = subprocess.run(
        ["git", "-C", str(folder), *identity, *arguments],
        env={**env, "GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1"},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout


def into_git(folder: Path) -> Path:
    git(folder, "init", "--quiet", "--initial-branch=main")
    git(folder, "add", "--all")
    git(folder, "commit", "--quiet", "--message=Begin")
    return folder

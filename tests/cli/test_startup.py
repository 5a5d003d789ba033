"""What is not imported: every command must answer at once, so it may not wait for libraries it does not use."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import SAMPLES, Run

HEAVY = {"typer", "rich", "ruamel", "jsonschema", "numpy", "scipy", "git"}

# Runs the command line in its own process, and says on standard error which heavy libraries that brought in.
WATCHED = f"""\
import sys
from buildbook.__main__ import main
try:
    main()
finally:
    print(*sorted({HEAVY!r} & {{name.partition('.')[0] for name in sys.modules}}), file=sys.stderr)
"""


def imported(*arguments: str, env: dict[str, str] | None = None) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", WATCHED, *arguments],
        cwd=SAMPLES,
        env={**os.environ, **(env or {})},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout
    return set(done.stderr.split())


def test_version_imports_nothing() -> None:
    assert imported("--version") == set()


@pytest.mark.parametrize("arguments", [("--help",), ("match", "--help"), ("new", "build", "--help")])
def test_help_imports_typer_alone(arguments: tuple[str, ...]) -> None:
    assert imported(*arguments) <= {"typer"}


@pytest.mark.parametrize(
    "words", ["buildbook ", "buildbook show her", "buildbook show heron-07/", "buildbook weighings --kind p"]
)
def test_completion_imports_typer_alone(words: str) -> None:
    completing = {
        "_BUILDBOOK_COMPLETE": "complete_bash",
        "COMP_WORDS": words,
        "COMP_CWORD": str(words.count(" ")),
    }
    assert imported(env=completing) <= {"typer"}


@pytest.mark.parametrize(
    "command", ["show", "weighings", "bobweight", "map", "spins", "plan", "prove", "fits", "motion", "compression"]
)
def test_files_that_passed_before_are_shown_without_the_schema_library(run: Run, command: str) -> None:
    assert run("check", cwd=SAMPLES).returncode == 0
    assert imported(command, "heron-07/2025-06-first") == {"typer", "rich", "ruamel"}


def test_matching_needs_no_scipy_and_writing_alone_needs_git(run: Run) -> None:
    assert run("check", cwd=SAMPLES).returncode == 0
    assert imported("match", "heron-07") == {"typer", "rich", "ruamel"}


AT_THE_MACHINE = {"holes", "plans", "proving", "influence", "tolerance", "unbalance"}


def test_commands_that_do_not_balance_import_nothing_of_it(run: Run) -> None:
    assert run("check", cwd=SAMPLES).returncode == 0
    watched = WATCHED.replace("name.partition('.')[0] for name", "name.rpartition('.')[2] for name")
    watched = watched.replace(repr(HEAVY), repr(AT_THE_MACHINE | {"numpy", "scipy"}))
    done = subprocess.run(
        [sys.executable, "-c", watched, "weighings", "heron-07/2025-06-first"],
        cwd=SAMPLES, capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    assert done.stderr.split() == []


def test_trial_runs_need_numpy_alone() -> None:
    arguments = ("trial", "--first", "4@0", "--trial", "rear 2@0: 4@90")
    assert imported(*arguments) == {"typer", "rich", "numpy"}


def test_json_needs_no_rich(run: Run) -> None:
    assert run("check", cwd=SAMPLES).returncode == 0
    assert imported("weighings", "heron-07", "--json") == {"typer", "ruamel"}


def test_a_file_that_changed_meets_its_schema_again(run: Run, samples: Path) -> None:
    assert run("check", cwd=samples).returncode == 0
    parts = samples / "engines" / "plover-03" / "2026-03-first" / "parts.yaml"
    parts.write_text(parts.read_text() + "partz: []\n")
    done = run("check", cwd=samples)
    assert done.returncode == 1
    assert "partz" in done.stdout
    assert run("check", cwd=samples).stdout == done.stdout  # and again: a finding is never remembered as a pass

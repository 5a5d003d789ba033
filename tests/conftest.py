"""A sealed workshop for every test: its own home, its own git, a terminal without surprises."""

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from textwrap import dedent

import pytest
from hypothesis import HealthCheck, settings

from buildbook.book.reading import Reader
from buildbook.figures import Figures, work_out
from buildbook.records.finding import Finding

SAMPLES = Path(__file__).parent.parent / "sample_builds"

# Nothing here hangs on chance or on the clock: the same code is judged by the same examples on every machine.
# `--hypothesis-profile=explore` looks at others.
settings.register_profile(
    "same",
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
settings.register_profile("explore", settings.get_profile("same"), derandomize=False, print_blob=True)
settings.load_profile("same")


SHOP = """\
format: 1
people:
  ava: {name: Ava Merrow, email: ava@example.org}
  tomas: {name: Tomas Reddick}
instruments:
  scale: {kind: scale, resolution: 0.1 g, repeatability: 0.05 g, calibrated: 2026-01-10, calibration_due: 2027-01-09}
"""

ENGINE = """\
format: 1
engine: twin
layout: v2_90_common_pin
"""

BUILD = """\
format: 1
engine: twin
build: first
opened: 2026-10-01
units: {mass: g}
balance: {factor: 50, oil: 3.0}
limits: {reciprocating_spread: {max: 1.0}, bobweight_set: {within: 0.5}}
"""


@pytest.fixture(autouse=True, scope="session")
def interruptible() -> None:
    """What starts the tests in the background has them, and every command they start, ignore Ctrl-C and hanging up."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGHUP, signal.SIG_DFL)


@pytest.fixture(autouse=True)
def sealed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing of the machine's own settings reaches a test, and no test leaves anything behind."""
    home = tmp_path / "home"
    home.mkdir()
    unwanted = ("GIT_", "BUILDBOOK_", "_TYPER", "PYTHONDONTWRITEBYTECODE")  # the last: each process would compile anew
    for name in [name for name in os.environ if name.startswith(unwanted)]:
        monkeypatch.delenv(name)
    for name, value in {
        "HOME": str(home),
        "XDG_CACHE_HOME": str(home / "cache"),
        "XDG_CONFIG_HOME": str(home / "config"),
        "GIT_CONFIG_NOSYSTEM": "1",
        "COLUMNS": "80",
        "NO_COLOR": "1",
        "TERM": "dumb",
        "PYTHONUTF8": "1",
    }.items():
        monkeypatch.setenv(name, value)


class Book:
    """A book made of the ledger texts that a test gives, with one engine `twin` and its build `first`."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.folder = root / "engines" / "twin" / "first"
        self.folder.mkdir(parents=True)
        self.write("shop.yaml", SHOP)
        self.write("engines/twin/engine.yaml", ENGINE)
        self.write("engines/twin/first/build.yaml", BUILD)

    def write(self, name: str, text: str | bytes) -> Path:
        """Write a file: a bare name such as `weighings.yaml` means the one in the build's folder."""
        path = self.root / name if "/" in name or name == "shop.yaml" else self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text if isinstance(text, bytes) else dedent(text).encode())
        return path

    def findings(self, name: str = "twin/first") -> list[Finding]:
        """All that `check` would say of the build."""
        loaded = Reader(self.root).load(name)
        return [*loaded.findings, *(work_out(loaded.build).findings if loaded.build else ())]

    def figures(self, name: str = "twin/first") -> Figures:
        loaded = Reader(self.root).load(name)
        assert loaded.build is not None, loaded.findings
        return work_out(loaded.build)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    return Book(tmp_path / "book")


@pytest.fixture
def samples(tmp_path: Path) -> Path:
    """A copy of the sample builds that a test may change."""
    return Path(shutil.copytree(SAMPLES, tmp_path / "samples"))


Run = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Run `buildbook` as a whole process, piped, in a folder."""

    def run_buildbook(*arguments: str, cwd: Path | None = None, **more: str) -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [sys.executable, "-m", "buildbook", *arguments],
            cwd=cwd or tmp_path,
            env={**os.environ, **more},
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )

    return run_buildbook

"""Long work shows how far it has come to a person at a terminal, to nobody else, and stops cleanly at Ctrl-C."""

import io
import os
import pty
import select
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from time import monotonic, sleep

import pytest
from conftest import SAMPLES, Run

from buildbook.views import progress as progress_view
from buildbook.views.progress import progress


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def slow(monkeypatch: pytest.MonkeyPatch) -> None:
    """All work counts as long, and every step of it is shown."""
    monkeypatch.setattr(progress_view, "_SOON", 0.0)
    monkeypatch.setattr(progress_view, "_OFTEN", 0.0)


def said(stream: io.StringIO, monkeypatch: pytest.MonkeyPatch, steps: int = 3) -> str:
    monkeypatch.setattr(sys, "stderr", stream)
    with progress("checking", steps) as step:
        for _ in range(steps):
            step()
    return stream.getvalue()


def test_each_step_is_counted_and_the_line_is_gone_at_the_end(slow: None, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = said(Terminal(), monkeypatch).split("\r")
    assert lines[1:4] == ["checking  1 of 3", "checking  2 of 3", "checking  3 of 3"]
    assert lines[4].strip() == lines[5] == ""
    assert len(lines[4]) >= len(lines[3])


def test_a_pipe_gets_nothing(slow: None, monkeypatch: pytest.MonkeyPatch) -> None:
    assert said(io.StringIO(), monkeypatch) == ""


def test_short_work_shows_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    assert said(Terminal(), monkeypatch) == ""


def test_a_narrow_terminal_cuts_the_line(slow: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "12")
    assert all(len(line) < 12 for line in said(Terminal(), monkeypatch).split("\r"))


def test_work_that_fails_leaves_no_line_behind(slow: None, monkeypatch: pytest.MonkeyPatch) -> None:
    stream = Terminal()
    monkeypatch.setattr(sys, "stderr", stream)

    def stopped() -> None:
        with progress("checking", 2) as step:
            step()
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped()
    assert stream.getvalue().endswith(" \r")


@pytest.fixture
def large(tmp_path: Path) -> Path:
    """A book of so many builds that checking it takes a while."""
    book = tmp_path / "large"
    for number in range(40):
        engine = book / "engines" / f"engine-{number:02}"
        shutil.copytree(SAMPLES / "engines" / "heron-07", engine)
        for file in engine.rglob("*.yaml"):
            file.write_text(file.read_text().replace("heron-07", engine.name))
    shutil.copy(SAMPLES / "shop.yaml", book)
    return book


def shown_at_a_terminal(process: "subprocess.Popen[bytes]", terminal: int) -> Iterator[str]:
    """What a command writes to a terminal, all of it so far, until it ends."""
    text = ""
    until = monotonic() + 60
    while monotonic() < until:
        if select.select([terminal], [], [], 0.1)[0]:
            try:
                text += os.read(terminal, 65536).decode(errors="replace")
            except OSError:  # the other end is closed
                break
            yield text
        elif process.poll() is not None:
            break
    yield text


def test_a_check_shows_how_far_it_is_and_ends_at_ctrl_c_with_no_process_left(large: Path) -> None:
    here, there = pty.openpty()
    command = [sys.executable, "-m", "buildbook", "check"]
    with subprocess.Popen(
        command, cwd=large, stdin=there, stdout=there, stderr=there, start_new_session=True
    ) as process:
        os.close(there)
        text, told = "", False
        for text in shown_at_a_terminal(process, here):
            if "checking  " in text and not told:
                told = True
                os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to every process at once
        assert process.wait(20) == 130
    os.close(here)
    assert "of 120" in text
    assert "Traceback" not in text
    for _ in range(50):
        try:
            os.killpg(process.pid, 0)
        except ProcessLookupError:
            break
        sleep(0.1)
    else:
        pytest.fail("a process was left behind")


def test_many_builds_are_found_as_one_by_one(large: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    broken = large / "engines" / "engine-07" / "2025-06-first" / "weighings.yaml"
    broken.write_text(broken.read_text().replace("what: rod_big_end", "what: rod_big_ent"))
    together = run("check", cwd=large)
    assert together.returncode == 1
    assert together.stderr == ""
    assert "rod_big_ent" in together.stdout
    one = run("check", "engine-07", cwd=large)
    theirs = [line for line in one.stdout.splitlines() if "engine-07/" in line]
    assert theirs
    assert [line for line in together.stdout.splitlines() if "engine-07/" in line] == theirs

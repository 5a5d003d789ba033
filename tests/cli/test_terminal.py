"""On a real terminal: a pseudo-terminal of 80 columns and 24 lines."""

import fcntl
import os
import pty
import re
import struct
import subprocess
import sys
import termios
from pathlib import Path

import pytest
from conftest import SAMPLES, Book
from figures.ledger import ALL_WEIGHED, weighings
from rich.cells import cell_len

SELECT = re.compile(r"\x1b\[([0-9;]*)m")
COLOURS = re.compile(r"(?:^|;)(?:3[0-8]|4[0-8]|9[0-7]|10[0-7])(?:;|$)")


def on_a_terminal(*arguments: str, cwd: Path, columns: int = 80, **more: str) -> str:
    """What a terminal is sent, when it says of itself that it has colours."""
    terminal, ours = pty.openpty()
    fcntl.ioctl(ours, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
    env = {name: value for name, value in os.environ.items() if name not in {"NO_COLOR", "COLUMNS", "LINES"}}
    command = [sys.executable, "-m", "buildbook", *arguments]
    with subprocess.Popen(
        command, cwd=cwd, env={**env, "TERM": "xterm-256color", **more}, stdin=ours, stdout=ours, stderr=ours
    ) as process:
        os.close(ours)
        sent = b""
        while True:
            try:
                block = os.read(terminal, 65536)
            except OSError:  # Linux says so when the other side is closed
                break
            if not block:
                break
            sent += block
        os.close(terminal)
        process.wait(timeout=60)
    return sent.decode()


@pytest.fixture
def doubtful(book: Book) -> Book:
    """A book with an error and a warning, which stand out by colour."""
    book.write("weighings.yaml", weighings(*ALL_WEIGHED).replace("by: ava", "by: eva", 1).replace(", by: ava", "", 1))
    return book


def colours(sent: str) -> list[str]:
    return [codes for codes in SELECT.findall(sent) if COLOURS.search(codes)]


def test_colours_appear(doubtful: Book) -> None:
    assert colours(on_a_terminal("check", cwd=doubtful.root))
    assert colours(on_a_terminal("match", "heron-07", cwd=SAMPLES))


def test_no_color_takes_the_colours_away(doubtful: Book) -> None:
    plain = on_a_terminal("check", cwd=doubtful.root, NO_COLOR="1")
    assert colours(plain) == []
    assert "error" in plain
    assert "warning" in plain


def test_a_terminal_that_cannot_do_anything_is_sent_no_escapes(doubtful: Book) -> None:
    assert "\x1b" not in on_a_terminal("check", cwd=doubtful.root, TERM="dumb")


@pytest.mark.parametrize("command", ["show", "weighings", "match", "bobweight", "map", "spins", "plan", "prove"])
def test_the_width_is_the_terminals(command: str) -> None:
    sent = on_a_terminal(command, "heron-07/2025-06-first", cwd=SAMPLES)
    lines = SELECT.sub("", sent).splitlines()
    assert "\x1b" not in "".join(lines)
    assert max(map(cell_len, lines)) <= 80


@pytest.mark.parametrize("columns", [60, 120])
def test_so_is_that_of_a_terminal_that_cannot_do_anything(columns: int) -> None:
    sent = on_a_terminal("spins", "heron-07/2025-06-first", cwd=SAMPLES, columns=columns, TERM="dumb")
    assert columns - 20 < max(map(cell_len, sent.splitlines())) <= columns


def test_a_voided_session_is_struck_out(book: Book) -> None:
    voided = "id: W9, void: scale not level, what: piston, readings: {P1: 999.9}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, voided))
    sent = on_a_terminal("weighings", cwd=book.folder)
    (line,) = [line for line in sent.splitlines() if "VOID" in line]
    struck = [codes.split(";") for codes in SELECT.findall(line)]
    assert any("9" in codes for codes in struck)  # SGR 9, crossed out (ECMA-48, 8.3.117, from memory)
    assert "999.9" not in sent

"""The Tab key, once a line says enough: pieces, places, parts, steps and sign-offs of the build that it is about."""

from collections.abc import Callable
from pathlib import Path

import pytest
import typer
from conftest import SAMPLES, Book
from typer.core import TyperCommand

from buildbook.cli.completing import (
    complete_engines,
    complete_moments,
    complete_pieces,
    complete_places,
    complete_removable,
    complete_turning,
)

HERON = "heron-07/2025-06-first"


def line(**said: object) -> typer.Context:
    """A command line so far, as the completer is told of it."""
    context = typer.Context(TyperCommand("any"))
    context.params = {"book": SAMPLES, **said}
    return context


@pytest.mark.parametrize(
    ("complete", "said", "begun", "offered"),
    [
        (complete_pieces, {"kind": "piston", "build": HERON}, "P", [f"P{number}" for number in range(1, 9)]),
        (complete_pieces, {"kind": "piston", "build": HERON}, "R", []),
        (complete_pieces, {"kind": "piston_with_pin", "build": "plover-03"}, "P1", ["P1+N1"]),
        (complete_pieces, {"build": "dunlin-21"}, "R", ["R1", "R2", "R3", "R4"]),
        (complete_places, {"kind": "rod_journal", "build": HERON}, "", ["1", "2", "3", "4"]),
        (complete_places, {"kind": "main_journal", "build": HERON}, "", ["1", "2", "3", "4", "5"]),
        (complete_places, {"kind": "rod_bore", "build": HERON}, "R8", ["R8"]),
        (complete_places, {"kind": "main_clearance", "build": HERON}, "", ["1", "2", "3", "4", "5"]),
        (complete_places, {"build": "magpie-02"}, "", ["1", "2"]),
        (complete_turning, {"build": HERON}, "", ["F1", "D1"]),
        (complete_removable, {"build": HERON}, "D", ["D1"]),
    ],
)
def test_what_is_offered_is_what_the_build_has(
    complete: Callable[[typer.Context, str], list[str]], said: dict[str, object], begun: str, offered: list[str]
) -> None:
    assert complete(line(**said), begun) == offered


def test_a_build_that_stands_before_an_option_without_its_value_is_the_one_meant() -> None:
    context = line(kind="rod_bore")
    context.args = ["heron-07"]
    assert complete_places(context, "R8") == ["R8"]


def test_a_step_that_added_something_can_be_removed(book: Book) -> None:
    steps = "  - {id: S1, add: {plane: front, angle: 10, amount: 2.0}}\n  - {id: S2, grind: {plane: rear, angle: 48}}\n"
    book.write("spins.yaml", f"format: 1\nunits: {{mass: g, angle: deg}}\nsteps:\n{steps}")
    assert complete_removable(line(book=book.root), "") == ["S1"]


def test_behind_a_build_its_sign_offs_are_moments(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(SAMPLES)
    assert complete_moments("heron-07/2025") == [HERON]
    assert complete_moments(f"{HERON}@") == [f"{HERON}@A1", f"{HERON}@A2"]
    assert complete_moments("nothing@") == []


def test_a_new_build_is_of_an_engine_that_is_there(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(SAMPLES)
    assert complete_engines("her") == ["heron-07/"]
    monkeypatch.chdir(tmp_path)
    assert complete_engines("") == []


def test_where_nothing_can_be_read_nothing_is_offered_and_nothing_is_said(
    book: Book, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    book.write("weighings.yaml", b"\xff\xfe")
    for where, build in ((book.root, "twin/first"), (book.root, "no/such"), (tmp_path, None)):
        for complete in (complete_pieces, complete_places, complete_turning, complete_removable):
            assert complete(line(book=where, build=build, kind="piston"), "") == []
    assert capfd.readouterr() == ("", "")

"""`prove` on the samples: a proving spin, a neutral damper, one that was not, drift, and holes that answered."""

import json
from typing import Any

from conftest import SAMPLES, Book, Run
from figures.ledger import PARTS
from figures.turning import on_the_machine
from figures.turning import spin as spin_step

from cli.workshop import one_after_the_other, screens

HERON, PLOVER = "heron-07/2025-06-first", "plover-03/2026-03-first"


def proved(run: Run, name: str) -> dict[str, Any]:
    done = run("prove", name, "--json", cwd=SAMPLES)
    assert (done.returncode, done.stderr) == (0, "")
    found: dict[str, Any] = json.loads(done.stdout)["figures"]
    return found


def test_the_v8_is_proved_and_its_damper_neutral(run: Run) -> None:
    spin, drift, damper = proved(run, HERON)["proofs"]
    assert (spin["kind"], spin["spins"]) == ("proving_spin", ["S1", "S3"])
    assert (spin["diagnoses"], abs(spin["scale"] - 1) < 0.05) == (["as it should be"], True)
    assert (drift["kind"], drift["spins"]) == ("drift", ["S12", "S13"])
    assert (damper["kind"], damper["what"], damper["distinguishable"]) == ("part", "D1", False)
    said = screens(HERON)["prove"]
    assert "neutral, as far as can be told" in said
    assert "as it should be" in said


def test_the_other_damper_is_not_neutral(run: Run) -> None:
    found = proved(run, PLOVER)
    damper = found["proofs"][0]
    assert (damper["what"], damper["spins"], damper["distinguishable"]) == ("D1", ["S7", "S9"], True)
    assert "NOT NEUTRAL" in screens(PLOVER)["prove"]
    assert found["answers"]["diagnoses"] == ["as it should be"]
    assert "How the readings answered the holes so far" in screens(PLOVER)["prove"]


def test_a_machine_that_is_set_wrong_is_said_so_in_words(book: Book) -> None:
    mass = "add: {plane: rear, angle: 50, amount: 20.0}"
    for shown, words in {"22.0@50": "radius set wrong", "20.0@310": "direction swapped"}.items():
        on_the_machine(book, spin_step("0.0@0", "0.0@0"), mass, spin_step("0.0@0", shown))
        (screen,) = one_after_the_other(["prove"], book.folder)
        assert (screen.code, screen.stderr) == (0, "")
        assert "test mass of 20.0 g at the rear plane" in screen.stdout
        assert words in screen.stdout


def test_a_part_that_was_turned_is_shown_apart_from_the_rest(book: Book) -> None:
    on_the_machine(book, spin_step("4.0@0", "1.0@0"), "index: {part: D1, angle: 180}", spin_step("2.0@0", "1.0@0"))
    book.write("parts.yaml", PARTS + "  - {kind: damper, ids: [D1]}\n")
    (screen,) = one_after_the_other(["prove"], book.folder)
    assert "D1 itself: front 1.0 @   0, rear 0.0 @   0" in screen.stdout
    assert "all that did not turn with it: front 3.0 @   0, rear 1.0 @   0" in screen.stdout


def test_nothing_proved_yet_says_how_to_begin(book: Book) -> None:
    on_the_machine(book, spin_step("4.0@0", "1.0@0"))
    (screen,) = one_after_the_other(["prove"], book.folder)
    assert (screen.code, screen.stderr) == (0, "")
    assert "Spin with a known test mass on" in " ".join(screen.stdout.split())

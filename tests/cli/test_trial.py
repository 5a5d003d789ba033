"""`trial`: influence coefficients from the command line, kept and used again."""

import json
from pathlib import Path
from typing import Any

import pytest
from conftest import Book, Run
from figures.turning import on_the_machine

from cli.workshop import git, into_git, one_after_the_other

# S. S. Rao, Mechanical Vibrations, two-plane turbine rotor example, inputs and answer from memory; weights in oz
FIRST = ("--first", "8.5@60 6.5@205")
LEFT, RIGHT = ("--trial", "left 10@270: 6.0@125 4.5@230"), ("--trial", "right 12@180: 6.0@35 10.5@160")
RAO = (*FIRST, *LEFT, *RIGHT)


@pytest.fixture
def kept_book(book: Book) -> Book:
    on_the_machine(book)
    into_git(book.root)
    return book


def worked_out(run: Run, *arguments: str, cwd: Path) -> dict[str, Any]:
    done = run("trial", *arguments, "--json", cwd=cwd)
    assert (done.returncode, done.stderr) == (0, "")
    said: dict[str, Any] = json.loads(done.stdout)["figures"]["trial"]
    return said


def is_the_answer(said: dict[str, Any]) -> None:
    assert said["weights"]["left"] == pytest.approx({"amount": 10.0561, "angle": 325.5548}, rel=5e-5)
    assert said["weights"]["right"] == pytest.approx({"amount": 5.8774, "angle": 68.2559}, rel=5e-5)
    assert said["expected_residual"] == pytest.approx(0, abs=1e-4)


def test_two_plane_turbine_rotor(run: Run, tmp_path: Path) -> None:
    said = worked_out(run, *RAO, cwd=tmp_path)  # it needs no book
    is_the_answer(said)
    assert said["coefficients"]["left"]["1"] == pytest.approx({"amount": 0.80711, "angle": 287.6435}, abs=1e-4)
    assert said["coefficients"]["right"]["2"] == pytest.approx({"amount": 0.62350, "angle": 302.0988}, abs=1e-4)


def test_the_screen_shows_weights_condition_and_the_caution(run: Run, tmp_path: Path) -> None:
    done = run("trial", *RAO, cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert [line.split() for line in done.stdout.splitlines() if line.startswith(("left", "right"))] == [
        ["left", "10.06", "325.6°"],
        ["right", "5.88", "68.3°"],
    ]
    said = " ".join(done.stdout.split())
    assert "condition " in said
    assert "Take the trial weights off first." in said
    assert "a projectile" in said


def test_one_plane_by_hand(run: Run, tmp_path: Path) -> None:
    # 4 at 0° becomes 4 at 90° with 2 g at 0°: α = (4i − 4)/2, so W = −4/α = −4/(−2 + 2i) = 1 + i: √2 g at 45°
    said = worked_out(run, "--first", "4@0", "--trial", "rear 2@0: 4@90", cwd=tmp_path)
    assert said["weights"]["rear"] == pytest.approx({"amount": 2**0.5, "angle": 45})
    assert said["condition"] == pytest.approx(1)


def test_more_readings_than_planes_leave_the_least_there_is(run: Run, tmp_path: Path) -> None:
    # One plane, two pickups, α = (1, 1): readings of 3 and 1 become 3 + W and 1 + W. Least squares: W = −2, which
    # leaves 1 and −1, a root mean square of 1.
    said = worked_out(run, "--first", "3@0 1@0", "--trial", "rear 1@0: 4@0 2@0", cwd=tmp_path)
    assert said["weights"]["rear"] == pytest.approx({"amount": 2, "angle": 180})
    assert [said["expected"][name]["amount"] for name in ("1", "2")] == pytest.approx([1, 1])
    assert said["expected_residual"] == pytest.approx(1)


def test_coefficients_are_kept_in_the_shops_book_and_used_again(kept_book: Book, run: Run) -> None:
    shop = kept_book.root / "shop.yaml"
    before = shop.read_bytes()
    done = run("trial", *RAO, "--keep", "twin_900", "--by", "ava", cwd=kept_book.root)
    assert (done.returncode, done.stderr) == (0, "")
    assert "kept as twin_900, in shop.yaml" in done.stdout
    assert shop.read_bytes().startswith(before)
    assert git(kept_book.root, "show", "--name-only", "--format=%an: %s", "HEAD").split("\n")[:3] == [
        "Ava Merrow: Keep influence coefficients twin_900", "", "shop.yaml",
    ]  # fmt: skip
    assert run("check", cwd=kept_book.root).returncode == 0
    is_the_answer(worked_out(run, *FIRST, "--use", "twin_900", cwd=kept_book.folder))
    # another crankshaft of the family, twice as far out everywhere, wants twice the weights
    twice = worked_out(run, "--first", "17@60 13@205", "--use", "twin_900", cwd=kept_book.folder)
    assert twice["weights"]["left"]["amount"] == pytest.approx(2 * 10.0561, rel=5e-5)


def test_small_coefficients_keep_their_digits(kept_book: Book, run: Run) -> None:
    """Readings in m/s and weights in mg, say: 0.000 000 4 m/s for one."""
    runs = ("--trial", "rear 1000@0: 0.0044@0")
    fresh = worked_out(run, "--first", "0.004@0", *runs, "--keep", "fine", "--by", "ava", cwd=kept_book.root)
    again = worked_out(run, "--first", "0.004@0", "--use", "fine", cwd=kept_book.root)
    assert fresh["weights"]["rear"] == pytest.approx({"amount": 10000, "angle": 180})
    assert again["weights"]["rear"] == pytest.approx(fresh["weights"]["rear"], rel=1e-5)


def test_a_name_is_kept_once(kept_book: Book, run: Run) -> None:
    assert run("trial", *RAO, "--keep", "twin_900", "--by", "ava", cwd=kept_book.root).returncode == 0
    before = (kept_book.root / "shop.yaml").read_bytes()
    done = run("trial", *RAO, "--keep", "twin_900", "--by", "ava", cwd=kept_book.root)
    assert (done.returncode, done.stdout) == (2, "")
    assert "choose another name" in done.stderr
    assert (kept_book.root / "shop.yaml").read_bytes() == before


REFUSED = {
    "a trial that changed nothing": ((*FIRST, "--trial", "rear 10@270: 8.5@60 6.5@205"), "changed nothing"),
    "a trial weight of nothing": ((*FIRST, "--trial", "rear 0@270: 6.0@125 4.5@230"), "give its weight and angle"),
    "planes that the readings cannot tell apart": (
        (*FIRST, "--trial", "left 10@0: 9.5@60 7.5@205", "--trial", "right 20@0: 10.5@60 8.5@205"),
        "cannot tell the left and the right plane apart",
    ),
    "fewer readings than planes": (
        ("--first", "8.5@60", "--trial", "left 10@270: 6.0@125", "--trial", "right 12@180: 6.0@35"),
        "more pickups, or more speeds",
    ),
    "a run that lacks a reading": ((*FIRST, "--trial", "rear 10@270: 6.0@125"), "read every pickup"),
    "a reading without an angle": (("--first", "8.5 6.5@205", *LEFT), "8.5@60"),
    "no reading at all": (("--first", "", *LEFT), "8.5@60"),
    "an angle of 360": (("--first", "8.5@360 6.5@205", *LEFT), "write 0:"),
    "an angle of −10": (("--first", "8.5@-10 6.5@205", *LEFT), "write 350:"),
    "a decimal comma": (("--first", "8,5@60", *LEFT), "with a decimal point"),
    "no trial run": (FIRST, "give --trial for each plane"),
    "a trial run without its weight": ((*FIRST, "--trial", "left: 6.0@125 4.5@230"), "write plane, trial weight"),
    "two runs of one plane": ((*FIRST, *LEFT, *LEFT), "one --trial for each plane"),
    "trial runs and kept coefficients": ((*FIRST, *LEFT, "--use", "twin_900"), "give --trial for each plane, or --use"),
    "coefficients nobody kept": ((*FIRST, "--use", "twin_900"), "none yet"),
    "kept by a stranger": ((*FIRST, *LEFT, "--keep", "x", "--by", "eva"), "ava"),
}


def test_bad_input_has_its_remedy_and_writes_nothing(kept_book: Book) -> None:
    before = (kept_book.root / "shop.yaml").read_bytes()
    typed = [("trial", *arguments) for arguments, _ in REFUSED.values()]
    for (case, (_, remedy)), done in zip(REFUSED.items(), one_after_the_other(typed, kept_book.root), strict=True):
        assert (done.code, done.stdout) == (2, ""), case
        assert remedy in " ".join(done.stderr.split()), case
        assert "Traceback" not in done.stderr, case
    assert (kept_book.root / "shop.yaml").read_bytes() == before


def test_keeping_needs_a_book(run: Run, tmp_path: Path) -> None:
    done = run("trial", *RAO, "--keep", "twin_900", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "--book PATH" in done.stderr

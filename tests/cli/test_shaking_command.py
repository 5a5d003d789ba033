"""`shaking` and `factor`: on the screen and in JSON, and what they take."""

import json
import re
from cmath import rect
from math import radians
from pathlib import Path
from typing import Any

import pytest
from conftest import SAMPLES, Book, Run
from figures.ledger import weighings
from figures.measurements import engine

from buildbook.views.shaking import quarter_turns
from cli.workshop import BUILDS, one_after_the_other

HERON, MAGPIE = "heron-07/2025-06-first", "magpie-02/2026-07-first"


def in_json(command: str, build: str, run: Run, *options: str) -> dict[str, Any]:
    done = run(command, build, "--json", *options, cwd=SAMPLES)
    assert (done.returncode, done.stderr) == (0, "")
    found: dict[str, Any] = json.loads(done.stdout)["figures"][command]
    return found


def test_json_of_shaking_has_its_contract(run: Run) -> None:
    found = in_json("shaking", MAGPIE, run)
    for part in (found["nominal"], found["build"]):
        for order in ("first", "second"):
            assert {"force", "moment", "with_crank", "against_crank"} <= set(part[order])
            assert set(part[order]["with_crank"]) == {"force", "moment"}
    first = found["nominal"]["first"]
    assert first["force"] == pytest.approx(first["with_crank"]["force"] + first["against_crank"]["force"])
    assert found["build"]["speed"] == 5500
    sizes = [(up**2 + sideways**2) ** 0.5 for up, sideways in found["build"]["force"]]
    assert max(sizes) == pytest.approx(found["build"]["largest_force"]["amount"])


def test_shaking_grows_with_the_square_of_the_speed(run: Run) -> None:
    slow, fast = (in_json("shaking", MAGPIE, run, "--speed", speed)["build"] for speed in ("2000", "4000"))
    assert fast["first"]["force"] == pytest.approx(4 * slow["first"]["force"])


def test_json_of_the_factor_has_its_contract(run: Run) -> None:
    found = in_json("factor", MAGPIE, run)
    assert {"best", "curve", "least", "unit"} <= set(found)
    assert [each["factor"] for each in found["curve"]] == list(range(0, 101, 5))
    assert found["best"]["left"] <= min(each["left"] for each in found["curve"])
    assert found["chosen"]["factor"] == 54


def test_the_screens_say_what_the_figures_say(run: Run) -> None:
    shaking, factor = one_after_the_other([f"shaking {HERON}", f"factor {MAGPIE}"], SAMPLES)
    assert "1st moment  3.162 F1 a" in shaking.stdout
    assert "turns with it" in shaking.stdout
    found = in_json("factor", MAGPIE, run)
    assert f"{found['best']['factor']:.1f} %" in factor.stdout
    assert f"{found['best']['left']:.0f}" in factor.stdout
    assert "the engine maker's comes first" in " ".join(factor.stdout.split())


def test_why_is_said_of_each_kind_of_engine() -> None:
    v8, twin, four, six = (
        " ".join(shown.stdout.split())
        for shown in one_after_the_other(
            [f"factor {build}" for build in (HERON, MAGPIE, "dunlin-21", "plover-03")], SAMPLES
        )
    )
    assert "50 % leaves no moment of the first order." in v8
    assert "it takes a shaft that turns the other way" in twin
    assert "No factor is better than another" in four
    assert "Split pins" in six


@pytest.mark.parametrize("command", ["shaking", "factor"])
def test_every_sample_build_has_its_screen(command: str) -> None:
    for shown in one_after_the_other([f"{command} {build}" for build in BUILDS], SAMPLES):
        assert (shown.code, shown.stderr) == (0, "")


def test_an_engine_of_which_little_is_known_says_what_is_missing(book: Book, run: Run) -> None:
    book.write("engines/twin/engine.yaml", engine("single", "bore: 90"))
    done = run("shaking", cwd=book.folder)
    assert done.returncode == 0
    assert "engine.yaml gives no stroke or no rod_length" in " ".join(done.stdout.split())
    assert "1.000 F1" in done.stdout
    for command in ("shaking", "factor"):
        shown = run(command, cwd=book.folder, PYTHONIOENCODING="ascii", PYTHONUTF8="0").stdout
        assert shown.isascii()
        assert "?" not in shown


def test_what_cannot_be_asked_is_refused_with_a_remedy(run: Run) -> None:
    for options, said in (
        (("factor", HERON, "--least", "vertcal"), "did you mean vertical?"),
        (("shaking", HERON, "--speed", "0"), "above 0"),
        (("factor", HERON, "--speed", "fast"), "--speed"),
    ):
        done = run(*options, cwd=SAMPLES)
        assert (done.returncode, done.stdout) == (2, "")
        assert said in " ".join(done.stderr.split())


def test_without_a_rod_length_it_is_said_that_the_second_order_is_left_out(book: Book, run: Run) -> None:
    book.write("engines/twin/engine.yaml", engine("v8_90_flat_plane", "bore: 90"))
    said = " ".join(run("factor", cwd=book.folder).stdout.split())
    assert "No factor is better than another: each leaves 0.000 F1 of the first order." in said
    assert "the second, which no factor changes, takes a rod length" in said


def test_an_engine_that_has_no_length_has_no_moment(book: Book, run: Run) -> None:
    for layout in ("single", "v2_52_split_pin_76"):
        book.write("engines/twin/engine.yaml", engine(layout, "bore: 90"))
        said = " ".join(run("factor", "--least", "moment", cwd=book.folder).stdout.split())
        assert "the cylinders stand at one place along the crankshaft, as far as engine.yaml says: no moment" in said


def test_without_a_bank_offset_it_is_said_that_the_rods_count_as_in_one_plane(run: Run, samples: Path) -> None:
    path = samples / "engines/magpie-02/engine.yaml"
    path.write_text("".join(line for line in path.read_text().splitlines(True) if "bank_offset" not in line))
    for command in ("shaking", "factor", "place"):
        shown = run(command, MAGPIE, cwd=samples)
        assert "rods that share a throw are taken as in one plane" in " ".join(shown.stdout.split())
        assert "taken as" not in run(command, MAGPIE, cwd=SAMPLES).stdout


def test_no_factor_is_better_where_only_a_few_grams_between_the_pieces_differ(run: Run) -> None:
    lefts = [each["left"] for each in in_json("factor", "plover-03", run, "--least", "force")["curve"]]
    said = " ".join(run("factor", "plover-03", "--least", "force", cwd=SAMPLES).stdout.split())
    assert f"each leaves {min(lefts):.0f} to {max(lefts):.0f} N; what differs is a few grams" in said


def test_quarter_turns_at_one_place_are_numbered_together() -> None:
    twice_round = [rect(3.0, radians(2 * angle)) for angle in range(360)]
    assert [numbers for _, numbers in quarter_turns(twice_round, 3.0)] == ["0,2", "1,3"]
    once_round = [rect(3.0, radians(angle)) for angle in range(360)]
    assert [numbers for _, numbers in quarter_turns(once_round, 3.0)] == ["0", "1", "2", "3"]


def test_a_lone_cylinder_s_moment_goes_nowhere(book: Book, run: Run) -> None:
    book.write("engines/twin/engine.yaml", engine("single", "stroke: 80, rod_length: 140"))
    book.write("parts.yaml", "format: 1\nparts: [{kind: rod, ids: [R1]}, {kind: piston, ids: [P1]}, "
               "{kind: pin, ids: [N1]}]\n")  # fmt: skip
    book.write("weighings.yaml", weighings(
        "id: W1, what: rod_big_end, readings: {R1: 421.4}", "id: W2, what: rod_small_end, readings: {R1: 153.9}",
        "id: W3, what: piston, readings: {P1: 480.1}", "id: W4, what: pin, readings: {N1: 152.3}",
        "id: W5, what: ring_set, lot: {total: 55.4, pieces: 1, per_cylinder: 1}",
        "id: W6, what: rod_bearing, lot: {total: 43.5, pieces: 2, per_rod: 2}"))  # fmt: skip
    shown = run("shaking", "--speed", "6000", cwd=book.folder)
    assert (shown.returncode, shown.stderr) == (0, "")
    for order in ("1st", "2nd"):
        assert re.search(rf"{order} moment, N·m +0 +0 +0 +0 +nothing", shown.stdout)


@pytest.mark.parametrize("width", ["60", "120"])
@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_screens_fit_and_hold_every_figure(width: str, encoding: str, run: Run) -> None:
    environment = {"COLUMNS": width, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    for command in ("shaking", "factor"):
        shown = run(command, MAGPIE, cwd=SAMPLES, **environment)
        assert (shown.returncode, shown.stderr) == (0, "")
        assert max(map(len, shown.stdout.splitlines())) <= int(width)
        assert encoding == "utf-8" or (shown.stdout.isascii() and "?" not in shown.stdout)
    found = in_json("factor", MAGPIE, run)
    # the lowest figure beside the curve is that of the best factor, not of the nearest point drawn
    best = f"{found['best']['left']:.0f}"
    assert re.search(rf"^ +{best} .*L", shown.stdout, re.MULTILINE)

"""`motion`: engine arithmetic on the screen and in JSON, and what it takes."""

import json
from typing import Any

import pytest
from conftest import BUILD, SAMPLES, Book, Run
from figures.ledger import ALL_WEIGHED, PARTS, weighings
from figures.measurements import engine
from rich.cells import cell_len

from cli.workshop import BUILDS, one_after_the_other

HERON = "heron-07/2025-06-first"

ENGINE = engine(sizes="bore: 90, stroke: 80, rod_length: 140")


@pytest.fixture
def twin(book: Book) -> Book:
    """Nothing weighed, nothing measured, no highest speed."""
    book.write("engines/twin/engine.yaml", ENGINE)
    return book


def in_json(book: Book, run: Run, *options: str, code: int = 0) -> dict[str, Any]:
    done = run("motion", "--json", *options, cwd=book.folder)
    assert (done.returncode, done.stderr) == (code, "")
    found: dict[str, Any] = json.loads(done.stdout)["figures"]["motion"]
    return found


def test_json_has_the_motion_by_its_names(twin: Book, run: Run) -> None:
    twin.write("parts.yaml", PARTS)
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED))
    found = in_json(twin, run, "--speed", "6000")
    assert found["displacement"] == pytest.approx(2 * found["cylinder_displacement"])
    assert found["cylinder_displacement"] == pytest.approx(508.94, abs=0.005)
    assert (found["rod_ratio"], found["bore_to_stroke"], found["speed"]) == (1.75, 1.125, 6000)
    assert found["lambda"] == pytest.approx(2 / 7)
    assert found["mean_piston_speed"] == pytest.approx(16.0)
    assert 70 < found["fastest"]["angle"] < 80
    assert found["fastest"]["speed"] > found["mean_piston_speed"]
    # r ω² = 15 791 m/s²: nine sevenths of it at the top, five sevenths at the bottom
    assert found["acceleration"] == pytest.approx({"top": 20_303, "bottom": -11_280}, rel=1e-4)
    assert [row["angle"] for row in found["table"]] == list(range(0, 360, 15))
    assert set(found["table"][0]) == {"angle", "travel", "speed", "acceleration", "two_term"}
    bolt = found["rod_bolt"]
    assert set(bolt) == {"cylinder", "reciprocating", "big_end", "at_least", "at_most", "bolts"}
    assert (bolt["cylinder"], bolt["bolts"]) == (None, 2)
    # half of 0.84325 kg at nine sevenths of 15 791 m/s²
    assert bolt["at_least"] == pytest.approx(8560, rel=1e-3)
    assert bolt["at_most"] > bolt["at_least"]


def test_the_screen_shows_the_same(run: Run) -> None:
    found = json.loads(run("motion", HERON, "--json", cwd=SAMPLES).stdout)["figures"]["motion"]
    said = run("motion", HERON, cwd=SAMPLES).stdout
    rows = [line.split() for line in said.splitlines()]
    for moment in found["table"][:13]:
        angle = f"{moment['angle']:g}"
        (row,) = (row for row in rows if row[:2] == [angle, f"{360 - moment['angle']:g}"])
        figures = [f"{moment['travel']:.2f}", f"{abs(moment['speed']):.2f}", f"{moment['acceleration']:.0f}"]
        assert row[2:5] == figures
        assert row[6] == f"{moment['two_term']:.0f}"
    for name in ("at_least", "at_most"):
        (row,) = (row for row in rows if row[:2] == name.split("_"))
        assert row[2] == f"{found['rod_bolt'][name] / 1000:.2f}"
    assert f"cylinder {found['rod_bolt']['cylinder']}, the heaviest of 8" in said
    assert "At 4800 rpm  the highest, by build.yaml" in said
    assert "the bolt maker's figures come first" in " ".join(said.split())


def test_a_shop_of_inches_reads_inches_feet_and_pounds(twin: Book, run: Run) -> None:
    twin.write("parts.yaml", PARTS)
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED))
    found = in_json(twin, run, "--speed", "6000")
    shop = (twin.root / "shop.yaml").read_text()
    twin.write("shop.yaml", shop + "preferred_units: {length: in, volume: in3}\n")
    assert in_json(twin, run, "--speed", "6000") == found  # in SI, whatever the shop reads
    said = run("motion", "--speed", "6000", cwd=twin.folder).stdout
    for metric in (" mm", "m/s", "kN", " cc"):
        assert metric not in said
    assert said.splitlines()[1].startswith("in; ")
    rows = [line.split() for line in said.splitlines()]
    # 1017.9 cc; two strokes of 80 mm a turn; 15 791 × 9/7 m/s²; 80 mm
    assert next(row for row in rows if row[:1] == ["displacement"])[:3] == ["displacement", "62.1", "in3"]
    assert next(row for row in rows if row[:2] == ["mean", "speed"])[:3] == ["mean", "speed", "3150"]
    top = next(row for row in rows if row[:3] == ["at", "the", "top"])
    assert float(top[3]) == pytest.approx(found["acceleration"]["top"] / 0.3048, abs=0.5)
    assert next(row for row in rows if row[:2] == ["180", "180"])[:4] == ["180", "180", "3.150", "0"]
    assert ["piston", "ft/min", "ft/s2", "g"] in rows or ["piston", "ft/min", "ft/s²", "g"] in rows
    (at_least,) = (row for row in rows if row[:2] == ["at", "least"])
    assert float(at_least[2]) == pytest.approx(found["rod_bolt"]["at_least"] / 4.4482216152605, abs=0.5)


def test_pictures_begin_and_end_at_the_top_and_reach_the_bottom_half_way(twin: Book, run: Run) -> None:
    said = run("motion", cwd=twin.folder).stdout.splitlines()
    at = next(number for number, line in enumerate(said) if "below top dead centre" in line)
    picture = [line[8:].ljust(29) for line in said[at + 1 : at + 10]]
    assert said[at + 1].lstrip().startswith("0.0")
    assert said[at + 9].lstrip().startswith("80.0")
    dark = [[column for column, cell in enumerate(line) if cell in "▀▄█"] for line in picture]
    assert (dark[0][0], dark[0][-1]) == (0, 28)
    assert sum(dark[8]) / len(dark[8]) == 14
    # every column of the turn is drawn
    assert {column for line in dark for column in line} == set(range(29))
    assert said[at + 10].split() == ["0", "90", "180", "270", "360"]


def test_without_blocks_a_picture_is_drawn_in_plain_characters(twin: Book, run: Run) -> None:
    said = run("motion", "--speed", "6000", cwd=twin.folder, PYTHONIOENCODING="ascii").stdout
    assert said.isascii()
    assert "?" not in said
    assert "***" in said


def test_without_a_speed_there_are_places_and_a_way_to_give_one(twin: Book, run: Run) -> None:
    said = run("motion", cwd=twin.folder).stdout
    assert "No speed is known: give --speed RPM, or balance: {max_speed: …} in build.yaml." in said
    assert "m/s" not in said
    found = in_json(twin, run)
    assert {found[name] for name in ("speed", "mean_piston_speed", "rod_bolt")} == {None}
    assert found["table"][12]["travel"] == pytest.approx(80)
    twin.write("build.yaml", BUILD.replace("oil: 3.0", "oil: 3.0, max_speed: 4800 rpm"))
    assert in_json(twin, run)["speed"] == 4800
    assert in_json(twin, run, "--speed", "5200 rpm")["speed"] == 5200


def test_with_nothing_weighed_the_bolt_says_what_is_lacking(twin: Book, run: Run) -> None:
    done = run("motion", "--speed", "6000", cwd=twin.folder)
    assert done.returncode == 0
    assert "Load on a rod bolt  not known: not weighed: rod small end, piston, pin, ring set" in done.stdout


def test_the_table_has_the_wanted_step(twin: Book, run: Run) -> None:
    found = in_json(twin, run, "--every", "30°")
    assert [row["angle"] for row in found["table"]] == list(range(0, 360, 30))
    assert [row["angle"] for row in in_json(twin, run, "--every", "50")["table"]] == [
        0,
        50,
        100,
        150,
        180,
        210,
        260,
        310,
    ]


def test_what_engine_yaml_lacks_is_named_with_its_fields(twin: Book, run: Run) -> None:
    twin.write("engines/twin/engine.yaml", ENGINE.replace("stroke: 80\n", "").replace("rod_length: 140\n", ""))
    done = run("motion", cwd=twin.folder)
    said = " ".join(done.stdout.split())
    assert done.returncode == 1
    assert "twin has no stroke and no rod_length" in said
    assert "fill in stroke: … mm, rod_length: … mm in engine.yaml" in said
    found = json.loads(run("motion", "--json", cwd=twin.folder).stdout)
    assert (found["figures"], found["findings"][0]["rule"]) == ({}, "no-motion")


def test_a_rod_that_cannot_go_round_is_said_with_its_file(twin: Book, run: Run) -> None:
    twin.write("engines/twin/engine.yaml", ENGINE.replace("rod_length: 140", "rod_length: 40"))
    done = run("motion", "--speed", "6000", cwd=twin.folder)
    said = " ".join(done.stdout.split())
    assert done.returncode == 1
    assert "a rod of 40 mm cannot go round a crank radius of 40 mm" in said
    assert "engine.yaml:1:1" in said


def test_an_engine_without_a_layout_still_moves_one_piston(twin: Book, run: Run) -> None:
    twin.write("engines/twin/engine.yaml", ENGINE.replace("layout: v2_90_common_pin\n", ""))
    found = in_json(twin, run, "--speed", "6000", code=1)  # the layout itself is a finding
    assert (found["displacement"], found["rod_ratio"]) == (None, 1.75)
    assert "508.9 cc" in run("motion", cwd=twin.folder).stdout


REFUSED = {
    "no turning": ("--speed 0", "above 0"),
    "backwards": ("--speed -100", "above 0"),
    "a slip of the keyboard": ("--speed 480000", "up to 30000"),
    "no number": ("--speed fast", "plain digits"),
    "an exponent": ("--speed 1e3", "write all the digits"),
    "a weight": ("--speed 10g", "use one of rpm"),
    "no step": ("--every 0", "from 1 to 90"),
    "too wide a step": ("--every 120", "from 1 to 90"),
    "a step of no number": ("--every few", "plain digits"),
}


@pytest.mark.parametrize("case", REFUSED.values(), ids=REFUSED)
def test_what_was_typed_wrong_is_said_in_one_message(twin: Book, case: tuple[str, str]) -> None:
    options, remedy = case
    (shown,) = one_after_the_other([f"motion {options}"], twin.folder)
    assert (shown.code, shown.stdout) == (2, "")
    assert remedy in " ".join(shown.stderr.split())


@pytest.mark.parametrize("columns", [60, 80, 120])
def test_the_samples_fit_every_screen(columns: int) -> None:
    commands = [f"motion {build} --speed {speed}" for build in BUILDS for speed in ("600", "9000")]
    for command, shown in zip(commands, one_after_the_other(commands, SAMPLES, columns), strict=True):
        assert (shown.code, shown.stderr) == (0, ""), command
        assert [line for line in shown.stdout.splitlines() if cell_len(line) > columns] == [], command
        assert "…" not in shown.stdout, command

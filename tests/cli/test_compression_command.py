"""`compression`: every cylinder's ratio on the screen and in JSON, and three ways to another one."""

import json
from pathlib import Path
from typing import Any

import pytest
from conftest import SAMPLES, Book, Run
from figures.ledger import PARTS
from figures.measurements import PAIRED, write
from rich.cells import cell_len

from cli.workshop import BUILDS, one_after_the_other

HERON = "heron-07/2025-06-first"

GASKETS = "  - {kind: head_gasket, ids: [HG1, HG2], stated: {thickness: 1.00 mm, diameter: 104.0 mm}}\n"

SESSIONS = (
    "with: burette, what: chamber_volume, readings: {1: 50.0, 2: 49.0}",
    "with: burette, what: piston_dish, readings: {P1: 4.0, P2: 6.0}",
    "with: feeler, what: deck_height, readings: {1: 0.20, 2: 0.10}",
)
LANDS = "with: burette, what: ring_land_volume, readings: {P2: 0.8}"


def twin(book: Book, *sessions: str, **said: str) -> Book:
    sizes = "bore: 100.0, stroke: 80.0, rod_length: 150.0"
    write(book, *(sessions or SESSIONS), parts=PARTS + GASKETS, paired=PAIRED, **({"sizes": sizes} | said))
    return book


def in_json(folder: Path, run: Run, *options: str, code: int = 0) -> dict[str, Any]:
    done = run("compression", "--json", *options, cwd=folder)
    assert (done.returncode, done.stderr) == (code, "")
    found: dict[str, Any] = json.loads(done.stdout)["figures"]
    return found


def test_json_has_every_cylinder_by_its_names(book: Book, run: Run) -> None:
    twin(book, *SESSIONS, LANDS, more="intake_closes: 60\n")
    found = in_json(book.folder, run, code=1)  # the lands of one piston were not measured
    assert set(found) == {"compression", "compression_spread"}
    first, second = (found["compression"][cylinder] for cylinder in "12")
    # cylinder 1 has piston P2: 50 + 6 + 0.8, gasket π/4 × 10.4² × 0.1 = 8.495 cc, deck π/4 × 10² × 0.02 = 1.571 cc
    parts = {name: first[name] for name in ("chamber", "dish", "gasket", "deck", "ring_land")}
    assert parts == pytest.approx(
        {"chamber": 50, "dish": 6, "gasket": 8.495, "deck": 1.571, "ring_land": 0.8}, rel=1e-3
    )
    assert first["clearance"] == pytest.approx(sum(parts.values()))
    assert first["swept"] == pytest.approx(628.32, abs=0.005)
    assert first["ratio"] == pytest.approx(1 + first["swept"] / first["clearance"])
    assert first["quench"] == pytest.approx(1.20)
    assert 1 < first["dynamic"] < first["ratio"]
    assert first["uncertainty"] > 0
    assert (first["missing"], second["ring_land"]) == ([], None)
    assert ("no ring-land volume" in first["assumed"], "no ring-land volume" in second["assumed"]) == (False, True)
    spread = found["compression_spread"]
    assert spread["value"] == pytest.approx(abs(first["ratio"] - second["ratio"]))
    assert spread["uncertainty"] > 0


def test_the_screen_shows_the_same_ratios(run: Run) -> None:
    found = in_json(SAMPLES, run, HERON)
    said = run("compression", HERON, cwd=SAMPLES).stdout
    rows = [line.split() for line in said.splitlines()]
    for name, each in found["compression"].items():
        ratio, volumes = (row for row in rows if row[:1] == [name])
        shown = [each["ratio"], each["dynamic"], each["quench"]]
        assert [ratio[1], ratio[3], ratio[4]] == [f"{figure:.2f}" for figure in shown]
        assert ratio[2] == f"{2 * each['uncertainty']:.3f}"
        assert ratio[-1] == "within"
        assert volumes[1:4] == [f"{each[part]:.1f}" for part in ("swept", "chamber", "dish")]
        assert volumes[4:6] == [f"{each[part]:.2f}" for part in ("gasket", "deck")]
        assert volumes[-1] == f"{each['clearance']:.1f}"
    spread = found["compression_spread"]
    assert f"Spread {spread['value']:.2f} ± {2 * spread['uncertainty']:.3f}" in said
    assert "gasket thickness as stated" in " ".join(said.split())


def test_a_picture_says_that_its_scale_does_not_begin_at_zero(run: Run) -> None:
    said = run("compression", HERON, cwd=SAMPLES).stdout
    # the limits 9.60 and 10.20 with a tenth of their distance on both sides
    assert "9.54      10.26" in said
    assert "The scale runs from 9.54 to 10.26, and not from zero." in said


def test_with_a_ratio_three_ways_are_shown_each_with_the_quench_that_it_leaves(run: Run) -> None:
    found = in_json(SAMPLES, run, HERON, "--ratio", "10.3")
    changes = found["changes"]
    assert (changes["ratio"], changes["from"]) == (10.3, "as asked")
    said = run("compression", HERON, "--ratio", "10.3", cwd=SAMPLES).stdout
    rows = [line.split() for line in said.partition("To 10.30")[2].splitlines()]
    for name, ways in changes["cylinders"].items():
        quench = found["compression"][name]["quench"]
        assert ways["gasket"]["quench"] == pytest.approx(quench + ways["gasket"]["change"])
        assert ways["cut"]["quench"] == pytest.approx(quench - ways["cut"]["change"])
        (row,) = (row for row in rows if row[:1] == [name])
        gasket, cut, chamber = ways["gasket"], ways["cut"], ways["chamber"]
        # the house rule has 0.95 as the least
        assert {gasket["quench_verdict"], cut["quench_verdict"]} == {"under"}
        assert row[1:] == [
            *(f"{gasket['change']:+.2f}", f"{gasket['becomes']:.2f}", f"{gasket['quench']:.2f}", "low"),
            *(f"{cut['change']:.2f}", f"{cut['quench']:.2f}", "low"),
            *(f"{chamber['change']:+.1f}", f"{chamber['becomes']:.1f}"),
        ]
    assert "changes the quench and the distance from valve to piston by as much" in " ".join(said.split())


def test_no_metal_is_put_back_onto_a_block(run: Run) -> None:
    said = run("compression", HERON, "--ratio", "9.5", cwd=SAMPLES).stdout.partition("To 9.50")[2]
    assert said.count("none ") == 8
    assert "metal would have to go back" in " ".join(said.split())


def test_unasked_the_ways_are_shown_where_a_cylinder_is_outside_its_limits(book: Book, run: Run) -> None:
    twin(book, limits="compression_ratio: {min: 9.0, max: 10.0}")
    found = in_json(book.folder, run, code=1)  # a ratio over its limit is a finding
    assert (found["changes"]["ratio"], found["changes"]["from"]) == (9.5, "the middle of the limits")
    said = run("compression", cwd=book.folder).stdout
    assert "OVER" in said
    assert "To 9.50  the middle of the limits; each way by itself" in said
    twin(book, limits="compression_ratio: {min: 9.0, max: 12.0}")
    assert "changes" not in in_json(book.folder, run)


def test_what_is_missing_is_said_with_its_cylinder(book: Book, run: Run) -> None:
    twin(book, "with: burette, what: chamber_volume, readings: {1: 50.0}", *SESSIONS[1:])
    found = in_json(book.folder, run, code=1)["compression"]
    assert (found["2"]["ratio"], found["2"]["missing"]) == (None, ["chamber volume"])
    assert (found["1"]["missing"], found["2"]["dish"]) == ([], 4.0)
    said = run("compression", cwd=book.folder).stdout
    assert "Missing: chamber volume (cylinder 2)" in said
    assert "Spread" not in said


def test_before_anything_is_measured_it_is_said_how_to_begin(book: Book, run: Run) -> None:
    twin(book, "what: cylinder_bore, readings: {1: 100.000, 2: 100.000}")
    done = run("compression", "--ratio", "9.8", cwd=book.folder)
    assert done.returncode == 0
    assert "'buildbook measure chamber_volume'" in " ".join(done.stdout.split())
    assert in_json(book.folder, run)["compression"] == {}


def test_volumes_that_make_no_ratio_give_no_figures(book: Book, run: Run) -> None:
    twin(book, *SESSIONS[:1], "with: burette, what: piston_dish, readings: {P1: 4.0, P2: -62.0}", *SESSIONS[2:])
    done = run("compression", cwd=book.folder)
    assert done.returncode == 1
    assert "no figures until what was found below is put right" in done.stdout
    assert "its compression ratio would be below 1" in " ".join(done.stdout.split())


def test_a_chamber_in_the_wrong_unit_gives_no_figures(book: Book, run: Run) -> None:
    twin(book, "with: burette, what: chamber_volume, readings: {1: 3.05, 2: 49.0}", *SESSIONS[1:])
    done = run("compression", "--json", cwd=book.folder)
    said = json.loads(done.stdout)
    assert (done.returncode, said["figures"]) == (1, {})
    assert [finding["rule"] for finding in said["findings"]] == ["unit-slip"]


def test_doubts_about_other_fits_do_not_clutter(book: Book, run: Run) -> None:
    tight = ("what: top_ring_gap, with: feeler, readings: {1: 0.20, 2: 0.40}",)
    twin(book, *SESSIONS, *tight, limits="top_ring_gap: {min: 0.40}")
    done = run("compression", cwd=book.folder)
    assert (done.returncode, "warning" in done.stdout) == (0, False)


@pytest.mark.parametrize("ratio", ["1", "0.9", "-9", "30.5", "nine", "9,8", "nan", "1e1", "9.8:2"])
def test_a_ratio_that_no_engine_has_is_refused(book: Book, ratio: str) -> None:
    (shown,) = one_after_the_other([["compression", "--ratio", ratio]], twin(book).folder)
    assert (shown.code, shown.stdout) == (2, "")
    assert shown.stderr.startswith("buildbook: --ratio: ")
    assert "\n→ " in shown.stderr


def test_a_ratio_may_be_written_as_it_is_spoken(book: Book, run: Run) -> None:
    assert in_json(twin(book).folder, run, "--ratio", "9.8:1")["changes"]["ratio"] == 9.8


@pytest.mark.parametrize("columns", [60, 80, 120])
def test_the_samples_fit_every_screen(columns: int) -> None:
    commands = [f"compression {build} --ratio {ratio}" for build in BUILDS for ratio in ("9.0", "10.4", "14")]
    for command, shown in zip(commands, one_after_the_other(commands, SAMPLES, columns), strict=True):
        assert (shown.code, shown.stderr) == (0, ""), command
        assert [line for line in shown.stdout.splitlines() if cell_len(line) > columns] == [], command
        assert "…" not in shown.stdout, command


def test_a_limit_that_nothing_is_held_to_yet_is_not_said_to_be_missing(book: Book, run: Run) -> None:
    twin(book, *SESSIONS[:2], limits="compression_ratio: {min: 10.8, max: 11.0}")
    said = run("compression", cwd=book.folder).stdout
    assert "missing: deck height" in said
    assert "no limit" not in said


def test_no_column_is_lost_on_a_narrow_screen_in_inches(book: Book, run: Run) -> None:
    twin(book, limits="quench: {min: 1.100}, compression_ratio: {min: 10.8, max: 11.0}")
    shop = (book.root / "shop.yaml").read_text()
    book.write("shop.yaml", shop + "preferred_units: {length: in}\n")
    said = run("compression", cwd=book.folder, COLUMNS="60").stdout
    assert [line for line in said.splitlines() if cell_len(line) > 60 and "clearances.yaml" not in line] == []
    # ratio, volumes, and what would change it: gasket and cut, and the chamber
    assert [row.split()[0] for row in said.splitlines() if row.split()[:1] in (["1"], ["2"])] == ["1", "2"] * 4
    for told in ("low", "makes", "chamber", "quench"):
        assert told in said

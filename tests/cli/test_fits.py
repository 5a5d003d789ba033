"""`fits`: every fit on the screen and in JSON, worst first; and where it reaches `show`, `map` and `match`."""

import json
import re
from fractions import Fraction

import pytest
from conftest import SAMPLES, Book, Run
from figures.ledger import ALL_WEIGHED, PARTS, weighings
from figures.measurements import PAIRED, write

from cli.workshop import one_after_the_other

SIZES = "bore: 101.8, main_bearings: 3"
MAINS = (
    "what: main_journal, readings: {1: 62.180, 2: 62.180, 3: 62.180}",
    "what: main_bore, readings: {1: 62.240, 2: 62.223, 3: 62.225}",
)
LIMIT = "main_clearance: {min: 0.045, max: 0.075, source: 'the [red]maker[/red]'}"


@pytest.fixture
def mains(book: Book) -> Book:
    """Three main bearings: 0.060 is good, 0.043 crosses the limit within ± 0.0029, 0.045 stands on it."""
    write(book, *MAINS, limits=LIMIT, sizes=SIZES)
    return book


def test_the_worst_stands_first_with_its_verdict_and_what_it_came_from(mains: Book, run: Run) -> None:
    done = run("fits", cwd=mains.folder)
    assert done.returncode == 1
    rows = [line for line in done.stdout.splitlines() if re.search(r"62\.\d+ − 62\.180", line)]
    assert [re.split(r"\s{2,}", row.strip())[:3] for row in rows] == [
        ["cannot tell", "2", "0.043"],
        ["cannot tell", "3", "0.045"],
        ["within", "1", "0.060"],
    ]
    assert "62.223 − 62.180  M2, M1" in rows[0]
    assert "the [red]maker[/red]" in done.stdout


def test_json_has_value_uncertainty_limit_verdict_and_from_by_kind_and_place(mains: Book, run: Run) -> None:
    said = json.loads(run("fits", "--json", cwd=mains.folder).stdout)
    first = said["figures"]["fits"]["main_clearance"]["1"]
    assert first["value"] == pytest.approx(0.060)
    # two readings of a micrometer of 0.001 mm that repeats within 0.001: √2 √(1e-6/12 + 1e-6), GUM 5.1.2
    assert first["uncertainty"] == pytest.approx(0.00147196, rel=1e-5)
    assert first["expanded_uncertainty"] == pytest.approx(0.00294392, rel=1e-5)  # k = 2
    assert first["limit"] == {"min": 0.045, "max": 0.075, "source": "the [red]maker[/red]", "common_practice": False}
    assert first["verdict"] == "within"
    assert [(each["what"], each["session"]) for each in first["from"]] == [("main bore", "M2"), ("main journal", "M1")]
    assert [finding["rule"] for finding in said["findings"]] == ["cannot-tell", "cannot-tell"]


def test_a_deck_read_at_one_end_is_said_where_it_decides_the_quench(book: Book, run: Run) -> None:
    parts = PARTS + "  - {kind: head_gasket, ids: [HG1, HG2], stated: {thickness: 1.00 mm, diameter: 104.0 mm}}\n"
    limits = "quench: {min: 1.0, max: 1.2}"
    one_end = "what: deck_height, readings: {left: {front: 0.100}, right: {front: 0.100, rear: 0.110}}"
    for deck, count in ((one_end, 1), (one_end.replace("0.100}", "0.100, rear: 0.100}", 1), 0)):
        write(book, deck, layout="v8_90_cross_plane", limits=limits, parts=parts)
        for command in ("fits", "compression"):
            said = " ".join(run(command, cwd=book.folder).stdout.split())
            assert said.count("deck height of bank left, read at its front alone, the same all along it") == count


def test_what_a_sleeve_in_the_block_would_change_is_said_where_the_block_decides_the_clearance(
    book: Book, run: Run
) -> None:
    sessions = ("%swhat: cylinder_bore, readings: {1: 101.810}", "%swhat: piston_skirt, readings: {P2: 101.730}")
    for material, degrees, is_said in (("cast aluminium", "30", True), ("cast iron", "30", False),
                                       ("cast aluminium", "20", False)):  # fmt: skip
        warm = [session % f"temperature: {degrees}, " for session in sessions]
        parts = PARTS + f"  - {{kind: block, ids: [B1], material: {material}}}\n"
        write(book, *warm, paired=PAIRED, parts=parts, limits="piston_clearance: {min: 0.070, max: 0.095}")
        said = " ".join(run("fits", cwd=book.folder).stdout.split())
        assert ("as the block is, aluminium alloy; a sleeve of iron in it grows about half as much" in said) is is_said


# Tightest 62.236 − 62.180 = 0.056, mean 62.23775 − 62.17925 = 0.0585 with √2 √(1e-6/12 + 1e-6/4) = 0.00081650.
TAPERED = (
    "what: main_journal, readings: {1: {front: [62.180, 62.179], rear: [62.180, 62.178]}}",
    "what: main_bore, readings: {1: {front: [62.236, 62.238], rear: [62.237, 62.240]}}",
)


def test_json_says_whether_the_tightest_or_the_mean_decided(book: Book, run: Run) -> None:
    for limit, decided, verdict in (("max: 0.0560", "mean", "over"), ("min: 0.0600", "value", "under")):
        write(book, *TAPERED, limits=f"main_clearance: {{{limit}}}")
        said = json.loads(run("fits", "--json", cwd=book.folder).stdout)["figures"]["fits"]["main_clearance"]["1"]
        assert (said["decided_by"], said["verdict"]) == (decided, verdict)
        assert (said["value"], said["mean"]) == pytest.approx((0.056, 0.0585))
        assert said["mean_uncertainty"] == pytest.approx(0.00081650, abs=5e-8)


def test_json_has_no_mean_of_what_does_not_vary_along_its_length(book: Book, run: Run) -> None:
    write(book, "what: top_ring_gap, with: feeler, readings: {1: 0.52, 2: 0.53}", limits="top_ring_gap: {max: 0.60}")
    said = json.loads(run("fits", "--json", cwd=book.folder).stdout)["figures"]["fits"]["top_ring_gap"]["1"]
    assert (said["mean"], said["mean_uncertainty"], said["decided_by"]) == (None, None, "value")


def test_json_says_of_every_size_how_it_was_read_and_in_which_direction(book: Book, run: Run) -> None:
    # a bore of iron read at 30 °C with a gauge of steel is 101.804 × 0.7e-6 × 10 = 0.00071 mm larger at 20 °C
    across = "{1: {top: {across: 101.806, along: 101.804}, bottom: {across: 101.808}}}"
    write(
        book,
        f"temperature: 30, what: cylinder_bore, readings: {across}",
        "what: piston_skirt, readings: {P2: 101.730}",
        parts=f"{PARTS}  - {{kind: block, ids: [B1], material: cast iron}}\n",
        paired=PAIRED,
    )
    said = json.loads(run("fits", "--json", cwd=book.folder).stdout)["figures"]["fits"]["piston_clearance"]["1"]
    bore, skirt = said["from"]
    assert (bore["within"], bore["as_read"]) == ("along", 101.804)
    assert bore["value"] == pytest.approx(101.804713, abs=1e-6)
    assert (skirt["within"], skirt["as_read"], skirt["value"]) == (None, 101.730, 101.730)


def test_json_of_one_kind_holds_that_kind_alone(run: Run) -> None:
    for kind in ("rod_side", "bore_taper"):
        done = run("fits", "heron-07/2025-06-first", "--kind", kind, "--json", cwd=SAMPLES)
        fits = json.loads(done.stdout)["figures"]["fits"]
        assert list(fits) == [kind]
        assert fits[kind]
    everything = json.loads(run("fits", "heron-07/2025-06-first", "--json", cwd=SAMPLES).stdout)["figures"]["fits"]
    assert {"rod_side", "bore_taper", "main_clearance"} < set(everything)


def test_where_the_mean_decided_the_screen_shows_the_mean(book: Book, run: Run) -> None:
    write(book, *TAPERED, limits="main_clearance: {max: 0.0560}")
    done = run("fits", cwd=book.folder, COLUMNS="120")
    assert done.returncode == 1
    row = next(line for line in done.stdout.splitlines() if "OVER" in line)
    assert "mean 0.0585 ± 0.0016" in row
    write(book, *TAPERED, limits="main_clearance: {min: 0.0600}")
    done = run("fits", cwd=book.folder, COLUMNS="120")
    row = next(line for line in done.stdout.splitlines() if "UNDER" in line)
    assert "mean" not in row
    assert re.split(r"\s{2,}", row.strip())[:4] == ["UNDER", "1", "0.056", "0.0029"]


def test_a_finding_that_rests_on_the_mean_says_so(book: Book, run: Run) -> None:
    write(book, *TAPERED, limits="main_clearance: {max: 0.0560}")
    (finding,) = (
        each for each in json.loads(run("check", "--json", cwd=book.root).stdout)["findings"] if each["rule"] == "fit"
    )
    assert finding["what"].startswith("main bearing clearance 1: its mean, 0.0585 ± 0.0016 mm, is over its limit")


def test_rings_say_how_much_to_file_and_how_much_to_be_sure(book: Book, run: Run) -> None:
    # 0.46 − 0.41 = 0.05, and 2 × 0.00577350 more that the feeler gauge cannot tell
    write(book, "what: top_ring_gap, with: feeler, readings: {1: 0.41, 2: 0.52}", limits="top_ring_gap: {min: 0.46}")
    screen = run("fits", cwd=book.folder).stdout
    at = screen.splitlines()
    header = next(line for line in at if "to be sure" in line)
    assert re.split(r"\s{2,}", header.strip())[:6] == ["cylinder", "ring", "gap", "wanted", "file", "to be sure"]
    row = next(line for line in at[at.index(header) :] if "top ring" in line)
    assert re.split(r"\s{2,}", row.strip())[:6] == ["1", "top ring", "0.41", "0.460", "0.050", "0.062"]
    filing = json.loads(run("fits", "--json", cwd=book.folder).stdout)["figures"]["filing"]
    assert filing["1"]["top_ring"]["file"] == pytest.approx(0.05)
    assert filing["1"]["top_ring"]["file_to_be_sure"] == pytest.approx(0.0615470, abs=5e-8)
    assert (filing["2"]["top_ring"]["file"], filing["2"]["top_ring"]["file_to_be_sure"]) == (0, 0)


def test_a_rod_whose_bolts_nobody_stretched_is_missing_on_the_screen_and_in_json(book: Book, run: Run) -> None:
    limits = "rod_bolt_stretch: {min: 0.140, max: 0.155}"
    write(book, "what: fastener_stretch, readings: {R1: [0.145, 0.147]}", limits=limits)
    done = run("fits", cwd=book.folder)
    assert done.returncode == 1
    assert re.search(r"missing +R2 ", done.stdout)
    assert "2 within, 0 outside, 0 cannot tell, 1 missing" in done.stdout
    said = json.loads(run("fits", "--json", cwd=book.folder).stdout)
    assert said["figures"]["fits"]["rod_bolt_stretch"]["R2"]["verdict"] == "missing"
    assert [finding["rule"] for finding in said["findings"]] == ["not-measured"]


def test_a_taper_of_which_one_end_was_not_measured_again_is_missing(book: Book, run: Run) -> None:
    write(
        book,
        "what: main_journal, readings: {1: {front: 62.180, rear: 62.179}}",
        "id: M8, taken: 2026-10-06T09:00+01:00, what: main_journal, readings: {1: {front: 61.930}}",
    )
    assert "rear: not measured again in M8" in " ".join(run("fits", cwd=book.folder).stdout.split())
    said = json.loads(run("fits", "--json", cwd=book.folder).stdout)["figures"]["fits"]["main_journal_taper"]["1"]
    assert (said["verdict"], said["lacking"]) == ("missing", "rear: not measured again in M8")


def test_one_cylinder_of_two_without_a_reading_is_missing_and_not_good(book: Book, run: Run) -> None:
    write(book, "what: top_ring_gap, with: feeler, readings: {1: 0.52}", limits="top_ring_gap: {min: 0.46}")
    done = run("fits", cwd=book.folder)
    assert done.returncode == 1
    assert re.search(r"missing +2 ", done.stdout)
    assert "1 within, 0 outside, 0 cannot tell, 1 missing" in done.stdout
    said = json.loads(run("fits", "--json", cwd=book.folder).stdout)["figures"]["fits"]["top_ring_gap"]["2"]
    assert (said["value"], said["verdict"]) == (None, "missing")


def test_a_rule_of_thumb_says_that_nobody_set_it_and_is_no_finding(book: Book, run: Run) -> None:
    write(book, "what: top_ring_gap, with: feeler, readings: {1: 0.30, 2: 0.52}")
    done = run("fits", cwd=book.folder)
    assert done.returncode == 0
    assert "UNDER" in done.stdout
    assert "common practice" in done.stdout
    assert "the part maker's figure is what counts" in " ".join(done.stdout.split())


def test_one_kind_and_one_place_can_be_asked_for(run: Run) -> None:
    asked = [f"fits heron-07/2025-06-first {more}" for more in ("--kind rod_side", "--at R5")]
    kind, place = one_after_the_other(asked, SAMPLES)
    assert "rod side clearance" in kind.stdout
    assert "piston clearance" not in kind.stdout
    assert "pin in rod" in place.stdout
    assert "piston clearance" not in place.stdout


@pytest.mark.parametrize(
    ("typed", "remedy"),
    [
        ("--kind main_clearence", "did you mean main_clearance?"),
        ("--at R9", "did you mean R"),
        ("--at nowhere", "see "),
    ],
)
def test_a_kind_or_place_that_is_not_there_is_misuse(run: Run, typed: str, remedy: str) -> None:
    done = run("fits", "heron-07/2025-06-first", *typed.split(), cwd=SAMPLES)
    assert (done.returncode, done.stdout) == (2, "")
    assert remedy in done.stderr


def test_a_shop_that_prefers_inches_reads_inches(mains: Book, run: Run) -> None:
    shop = mains.root / "shop.yaml"
    shop.write_text(shop.read_text() + "preferred_units: {length: in}\n")
    said = run("fits", cwd=mains.folder).stdout
    assert "0.0024" in said  # 0.060 / 25.4 = 0.00236
    assert "2.4504 − 2.4480" in said  # 62.240 and 62.180 mm
    assert "0.0018 to 0.0030" in said  # 0.045 / 25.4 = 0.00177, 0.075 / 25.4 = 0.00295


def test_nonsense_keeps_the_figures_from_being_shown(book: Book, run: Run) -> None:
    write(book, "what: main_journal, readings: {1: 2.448}", sizes="bore: 101.8, main_journal: 62.2")
    done = run("fits", cwd=book.folder)
    assert done.returncode == 1
    assert "no figures until" in done.stdout
    assert "inches written as mm" in " ".join(done.stdout.split())


TOO_TIGHT = (
    "what: cylinder_bore, readings: {1: 101.800, 2: 101.806}",
    "what: piston_skirt, readings: {P1: 101.718, P2: 101.770}",
    "what: top_ring_gap, with: feeler, readings: {1: 0.40, 2: 0.52}",
)


def test_the_map_says_bore_and_clearance_and_is_loud_where_they_are_wrong(book: Book, run: Run) -> None:
    limits = "piston_clearance: {min: 0.070, max: 0.110}, top_ring_gap: {min: 0.46}"
    write(book, *TOO_TIGHT, limits=limits, paired=PAIRED)
    said = run("map", cwd=book.folder).stdout
    assert "bore 101.800 mm, clearance 0.030" in said  # 101.800 − 101.770, piston P2 is in cylinder 1
    assert "bore 101.806 mm, clearance 0.088" in said
    assert "PISTON CLEARANCE UNDER" in said
    assert "FILE TOP RING 0.060" in said  # 0.46 − 0.40
    assert "┏" in said


def fits_of_show(book: Book, run: Run) -> str:
    shown = run("show", cwd=book.folder, COLUMNS="160").stdout
    return " ".join(next(line for line in shown.splitlines() if line.startswith("fits")).split())


def test_show_counts_the_fits_and_names_what_is_left_to_measure(mains: Book, run: Run) -> None:
    # first what no engine is measured without, then what build.yaml limits
    build = (mains.folder / "build.yaml").read_text().replace("limits: {", "limits: {quench: {min: 0.9}, ")
    mains.write("build.yaml", build)
    said = fits_of_show(mains, run)
    assert "begun" in said
    assert "1 fit within, 2 cannot tell, not yet: rod clearance, piston clearance and 2 more" in said


def test_show_names_the_limits_of_which_nothing_was_measured(book: Book, run: Run) -> None:
    # by the rules of thumb a main clears 0.0466 to 0.0622 (0.055 here), a rod 0.0400 to 0.0533 (0.047), each ± 0.0029,
    # and a top ring gapes 0.458; for the two pistons there is none
    write(
        book,
        "what: main_journal, readings: {1: 62.180, 2: 62.180, 3: 62.180}",
        "what: main_bore, readings: {1: 62.235, 2: 62.235, 3: 62.235}",
        "what: rod_journal, readings: {1: 53.290}",
        "what: rod_bore, readings: {R1: 53.337, R2: 53.337}",
        "what: cylinder_bore, readings: {1: 101.805, 2: 101.805}",
        "what: piston_skirt, readings: {P1: 101.722, P2: 101.722}",
        "with: feeler, what: top_ring_gap, readings: {1: 0.52, 2: 0.52}",
        limits="quench: {min: 0.9}",
        sizes=SIZES,
        paired=PAIRED,
    )
    assert "7 fits within, not yet: quench, 2 without a limit" in fits_of_show(book, run)


def with_bores(book: Book, *, locked: str = "", skirts: str = "{P1: 101.718, P2: 101.730}") -> None:
    """A twin whose larger piston is heavier, too: each bore wants another piston than its number."""
    write(
        book,
        "what: cylinder_bore, readings: {1: 101.815, 2: 101.800}",
        f"what: piston_skirt, readings: {skirts}",
        limits="reciprocating_spread: {max: 1.0 g}, piston_clearance: {min: 0.070, max: 0.095}",
    )
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", f"format: 1\n{locked}")


def test_matching_with_bores_puts_each_piston_where_it_clears_most_evenly(book: Book, run: Run) -> None:
    with_bores(book)
    said = json.loads(run("match", "--with-bores", "--json", cwd=book.folder).stdout)["figures"]["match"]
    assert {name: each["piston"] for name, each in said["cylinders"].items()} == {"1": "P2", "2": "P1"}
    # 101.815 − 101.730 and 101.800 − 101.718
    assert said["clearances"]["cylinders"] == pytest.approx({"1": 0.085, "2": 0.082})
    assert (said["clearances"]["outside"], said["conflict"], said["both_proven"]) == (0, False, True)
    assert said["spread"] == said["weights_alone"]["spread"]


def test_what_is_written_names_the_measuring_sessions_too(book: Book, run: Run) -> None:
    with_bores(book)
    assert run("match", "--with-bores", "--write", "--by", "ava", cwd=book.folder).returncode == 0
    assert "from: [W2, W3, W4, M1, M2]" in (book.folder / "pairings.yaml").read_text()
    assert run("check", cwd=book.root).returncode == 0


def test_a_lock_that_sets_weights_against_bores_is_said_and_proven_where_every_order_was_tried(
    book: Book, run: Run
) -> None:
    # 153.9 + 480.1 = 634.0 and 154.9 + 482.0 = 636.9 with these locks; 636.9 − 634.0 is over the limit of 1 g, while
    # the other way round 153.9 + 482.0 and 154.9 + 480.1 are within it, and both pistons out of their bores' limits
    locked = "locked: [{rod: R1, cylinder: 2, because: bushed for it}, {pin: N1, cylinder: 2, because: so}]\n"
    with_bores(book, locked=locked)
    done = run("match", "--with-bores", cwd=book.folder)
    said = " ".join(done.stdout.split())
    assert "Locks set weights against bores" in said
    assert "none keeps both limits" in said
    assert "with the pistons in these bores 3.10 g is left" in said
    found = json.loads(run("match", "--with-bores", "--json", cwd=book.folder).stdout)["figures"]["match"]
    assert found["conflict"] is True
    assert found["both_proven"] is True  # two pistons go into two bores in two ways
    assert found["clearances"]["outside"] <= found["weights_alone"]["clearances"]["outside"]


def test_where_not_every_order_of_the_pistons_can_be_tried_the_best_is_not_called_proven(book: Book, run: Run) -> None:
    # rods grow by 0.5 g and pistons shrink by as much, so that as numbered all six are even; the smallest piston is in
    # the largest bore then (101.825 − 101.723 = 0.102), and 101.825 − 101.748 = 0.077 is what all have the other way
    # round, where the heaviest rod has the heaviest piston: 2 × 5 × 0.5 = 5 g
    numbers = range(1, 7)

    def readings(letter: str, first: str, step: str) -> str:
        values = (Fraction(first) + number * Fraction(step) for number in numbers)
        return ", ".join(f"{letter}{number}: {float(value):.3f}" for number, value in zip(numbers, values, strict=True))

    parts = "".join(
        f"  - {{kind: {kind}, ids: [{', '.join(f'{letter}{number}' for number in numbers)}]}}\n"
        for kind, letter in (("rod", "R"), ("piston", "P"), ("pin", "N"))
    )
    write(
        book,
        f"what: cylinder_bore, readings: {{{readings('', '101.830', '-0.005')}}}",
        f"what: piston_skirt, readings: {{{readings('P', '101.718', '0.005')}}}",
        layout="v6_90_split_pin_30",
        parts=f"format: 1\nparts:\n{parts}",
        limits="reciprocating_spread: {max: 0.5 g}, piston_clearance: {min: 0.070, max: 0.110}",
    )
    weighed = (
        f"id: W2, what: rod_small_end, readings: {{{readings('R', '153.9', '0.5')}}}",
        f"id: W3, what: piston, readings: {{{readings('P', '480.0', '-0.5')}}}",
        f"id: W4, what: pin, readings: {{{readings('N', '152.3', '0')}}}",
        "id: W5, what: ring_set, lot: {total: 332.4, pieces: 6, per_cylinder: 1}",
    )
    book.write("weighings.yaml", weighings(*weighed))
    each = "  - {rod: R%s, pin: N%s, cylinder: %s, because: bushed for it}\n"
    book.write("pairings.yaml", "format: 1\nlocked:\n" + "".join(each % ((number,) * 3) for number in numbers))
    said = " ".join(run("match", "--with-bores", cwd=book.folder).stdout.split())
    assert "it is not proven. It costs 5.00 g in weight." in said
    found = json.loads(run("match", "--with-bores", "--json", cwd=book.folder).stdout)["figures"]["match"]
    assert (found["conflict"], found["both_proven"]) == (True, False)
    assert found["clearances"]["cylinders"] == pytest.approx({str(number): 0.077 for number in numbers})


def test_without_bores_measured_matching_with_them_says_what_is_missing(book: Book, run: Run) -> None:
    with_bores(book, skirts="{P1: 101.718}")
    done = run("match", "--with-bores", cwd=book.folder)
    assert done.returncode == 1
    assert "not measured yet: skirt of P2" in done.stdout
    assert run("match", cwd=book.folder).returncode == 0

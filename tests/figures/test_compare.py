"""What differs between two builds: pieces, figures with their uncertainty, the old balance, choices and findings."""

from collections.abc import Mapping
from math import hypot, inf, nextafter, sqrt
from pathlib import Path

import numpy as np
import pytest
from conftest import SHOP, Book
from hypothesis import given, settings
from hypothesis import strategies as st

from buildbook.book.reading import Reader
from buildbook.figures import work_out
from buildbook.figures.change import Change, Side
from buildbook.figures.compare import Comparison, compare, is_significant
from buildbook.records.model import Build
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings
from figures.measurements import GAUGES, MIC, clearances
from figures.turning import STROKE, WITH_BALANCER
from figures.turning import spin as spin_step
from figures.turning import spins as spins_file

# Standard uncertainty of one weighing [g]: √(d²/12 + s²), d = 0.1 the scale's step and s = 0.05 its repeatability.
SCALE = 0.0577350  # √(0.01/12 + 0.0025) = 0.1/√3


def build(name: str, engine: str = "twin", *, opened: str = "2026-10-01", more: str = "", choices: str = "") -> str:
    balance = choices or "factor: 50, oil: 3.0"
    units = "units: {mass: g, length: mm, angle: deg, speed: rpm}"
    return f"format: 1\nengine: {engine}\nbuild: {name}\nopened: {opened}\n{units}\nbalance: {{{balance}}}\n{more}"


def write(book: Book, name: str, files: Mapping[str, str], **said: str) -> None:
    """A build with these files; `said` goes into its build.yaml."""
    engine, _, short = name.partition("/")
    book.write(f"engines/{name}/build.yaml", build(short, engine, **said))
    for file, text in files.items():
        book.write(f"engines/{name}/{file}.yaml", text)


def side(book: Book, name: str) -> Side:
    loaded = Reader(book.root).load(name)
    assert loaded.build is not None, loaded.findings
    return Side(name, work_out(loaded.build), loaded.findings)


def later(book: Book, files: Mapping[str, str], **said: str) -> None:
    """The build `second` of the twin, opened a day after `first`."""
    write(book, "twin/second", files, **{"opened": "2026-10-02", "more": "follows: first\n", **said})


def compared(
    book: Book, before: str = "twin/first", after: str = "twin/second", between: tuple[str, ...] = ()
) -> Comparison:
    builds: list[Build] = [side(book, name).build for name in between]
    return compare(side(book, before), side(book, after), builds)


def change(comparison: Comparison, what: str) -> Change:
    (found,) = (each for each in comparison.changes if each.what == what)
    return found


def parts(*lines: str) -> str:
    return "format: 1\nparts:\n" + "".join(f"  - {{{each}}}\n" for each in lines)


# ---- significance


@pytest.mark.parametrize(
    ("change", "significant"), [(1.0, False), (nextafter(1.0, 2), True), (-1.0, False), (-1.01, True)]
)
def test_a_change_exactly_at_twice_its_uncertainty_is_still_measurement(change: float, significant: bool) -> None:
    # GUM 5.1.2 and 6.2.1: U = 2 · 0.5
    assert is_significant(change, 0.5) is significant


@given(st.floats(1e-6, 1e6))
def test_the_border_is_as_sharp_everywhere(uncertainty: float) -> None:
    assert is_significant(2 * uncertainty, uncertainty) is False
    assert is_significant(nextafter(2 * uncertainty, inf), uncertainty) is True
    assert is_significant(uncertainty, None) is None
    assert is_significant(0.0, 0.0) is False


# ---- weights and sizes, worked by hand


def test_a_weight_is_told_from_measurement_by_the_two_uncertainties_together(book: Book) -> None:
    # u(Δ) = √2 · 0.0577350 = 0.0816497, so that U = 0.1633: 0.2 g is real and 0.1 g is not.
    readings = "id: W1, what: piston, readings: {{P1: {}, P2: {}, P3: {}}}"
    book.write("weighings.yaml", weighings(readings.format("480.1", "482.0", "481.0")))
    later(book, {"weighings": weighings(readings.format("479.9", "481.9", "481.0"))})
    found = compared(book)
    first, second = change(found, "piston.P1"), change(found, "piston.P2")
    assert float(first.change or 0) == pytest.approx(-0.2)
    assert first.uncertainty == pytest.approx(sqrt(2) * SCALE, rel=1e-6)
    assert (first.significant, first.why) == (True, "worn or cleaned")
    assert (second.significant, second.why) == (False, "no more than measurement")
    assert found.unchanged == {"piston": 1}
    assert [each.what for each in found.changes][:2] == ["piston.P1", "piston.P2"]  # by |Δ|/u


def test_each_side_has_the_uncertainty_of_its_own_scale(book: Book) -> None:
    # The fine scale: √(0.01²/12 + 0.006²) = 0.00665833; with the other √(0.0577350² + 0.00665833²) = 0.0581177, and
    # twice that is 0.1162.
    book.write("shop.yaml", SHOP + "  fine: {kind: scale, resolution: 0.01 g, repeatability: 0.006 g}\n")
    book.write("weighings.yaml", weighings("id: W1, what: piston, readings: {P1: 480.1, P2: 482.0}"))
    later(book, {"weighings": weighings("id: W1, what: piston, with: fine, readings: {P1: 480.22, P2: 482.11}")})
    found = compared(book)
    assert change(found, "piston.P1").uncertainty == pytest.approx(0.0581177, rel=1e-5)
    assert change(found, "piston.P1").significant is True  # 0.12
    assert change(found, "piston.P1").why == "real, and not the way of wear"
    assert change(found, "piston.P2").significant is False  # 0.11


def test_wear_of_journals_and_bores_shows_in_their_measured_sizes(book: Book) -> None:
    # One reading each: U = 2 √2 · 0.00104083 = 0.002944. Of two readings the mean is known to √(1e-6/12 + 1e-6/2) =
    # 0.00076376, U = 2 √2 · 0.00076376 = 0.002160.
    book.write("shop.yaml", GAUGES)
    journals = "what: main_journal, readings: {{1: {}, 2: {}, 3: {}}}"
    bores = "what: cylinder_bore, readings: {{1: [{}, {}], 2: [{}, {}]}}"
    book.write("clearances.yaml", clearances(journals.format(*["62.180"] * 3), bores.format(*["101.800"] * 4)))
    after = clearances(journals.format(62.177, 62.178, 62.183), bores.format(101.802, 101.803, 101.802, 101.802))
    later(book, {"clearances": after})
    found = compared(book)
    told = {each.what: (each.significant, each.why) for each in found.of("figures") if "of_round" not in each.what}
    assert told == {
        "main_journal.1": (True, "wear"),
        "main_journal.2": (False, "no more than measurement"),
        "main_journal.3": (True, "real, and not the way of wear"),
        "cylinder_bore.1": (True, "wear"),
        "cylinder_bore.2": (False, "no more than measurement"),
    }
    assert change(found, "main_journal.1").uncertainty == pytest.approx(sqrt(2) * MIC, rel=1e-5)
    assert change(found, "cylinder_bore.1").uncertainty == pytest.approx(sqrt(2) * 0.00076376, rel=1e-4)
    assert float(change(found, "cylinder_bore.1").change or 0) == pytest.approx(0.0025)


def test_a_block_that_was_machined_may_be_worn_or_bored(book: Book) -> None:
    book.write("shop.yaml", GAUGES)
    for name, size, state in (("first", "101.800", "new"), ("second", "101.840", "reconditioned")):
        files = {
            "parts": parts(f"kind: block, ids: [B1], state: {state}"),
            "clearances": clearances(f"what: cylinder_bore, readings: {{1: {size}}}"),
        }
        (later if name == "second" else lambda book, files: write(book, "twin/first", files))(book, files)
    assert change(compared(book), "cylinder_bore.1").why == "worn or machined"
    assert change(compared(book, "twin/second", "twin/first"), "cylinder_bore.1").why == "worn or machined"


def test_new_bearings_are_the_reason_for_another_clearance_and_looked_at_backwards_too(book: Book) -> None:
    book.write("shop.yaml", GAUGES)
    journal = "what: main_journal, readings: {1: 62.180}"
    first = {
        "parts": parts("kind: main_bearing, count: 5, state: new"),
        "clearances": clearances(journal, "what: main_bore, readings: {1: 62.240}"),
    }
    write(book, "twin/first", first)
    second = {
        "parts": parts("kind: main_bearing, count: 5, state: replaced"),
        "clearances": clearances(journal, "what: main_bore, readings: {1: 62.230}"),
    }
    later(book, second)
    for found in (compared(book), compared(book, "twin/second", "twin/first")):
        clearance = change(found, "main_clearance.1")
        assert clearance.significant is True
        assert clearance.why == "other main bearings"


def test_wear_is_wear_whichever_of_the_two_is_named_first(book: Book) -> None:
    book.write("shop.yaml", GAUGES)
    book.write("clearances.yaml", clearances("what: main_journal, readings: {1: 62.180}"))
    later(book, {"clearances": clearances("what: main_journal, readings: {1: 62.170}")})
    assert change(compared(book), "main_journal.1").why == "wear"
    back = change(compared(book, "twin/second", "twin/first"), "main_journal.1")
    assert back.why == "wear"
    assert float(back.change or 0) == pytest.approx(0.010)


def test_a_piston_in_another_cylinder_is_the_reason_for_its_clearance(book: Book) -> None:
    book.write("shop.yaml", GAUGES)
    sizes = clearances(
        "what: cylinder_bore, readings: {1: 101.800, 2: 101.800}",
        "what: piston_skirt, readings: {P1: 101.720, P2: 101.700}",
    )
    sets = ("rod: R1, piston: P1, pin: N1", "rod: R2, piston: P2, pin: N2")
    write(book, "twin/first", {"parts": PARTS, "clearances": sizes, "pairings": pairings(*sets)})
    later(book, {"parts": PARTS, "clearances": sizes, "pairings": pairings(*reversed(sets))})
    found = compared(book)
    assert change(found, "piston_clearance.1").why == "P2 here instead of P1"
    moved = {(each.what, each.before, each.after, each.why) for each in found.of("pairing")}
    assert ("cylinder.1.piston", "P1", "P2", "came from cylinder 2") in moved
    assert len(moved) == 6


def test_what_only_one_side_knows_is_told_last_and_nobody_can_say_whether_it_is_real(book: Book) -> None:
    book.write("weighings.yaml", weighings("id: W1, what: piston, readings: {P1: 480.1}"))
    later(book, {"weighings": weighings("id: W1, what: pin, readings: {N1: 152.3}")})
    found = compared(book)
    lost, new = change(found, "piston.P1"), change(found, "pin.N1")
    assert (lost.after, lost.change, lost.significant, lost.why) == (None, None, None, "not known in twin/second")
    assert (new.before, new.significant, new.why) == (None, None, "not known in twin/first")


def test_two_states_of_one_build_say_measured_again_and_not_wear(book: Book, tmp_path: Path) -> None:
    book.write("weighings.yaml", weighings("id: W1, what: piston, readings: {P1: 480.1}"))
    before = side(book, "twin/first")
    book.write("weighings.yaml", weighings("id: W1, what: piston, readings: {P1: 475.1}"))
    found = compare(before, side(book, "twin/first"))
    assert change(found, "piston.P1").why == "real: worked on, or one reading is wrong"
    assert found.of("pieces") == ()
    assert compare(before, before).changes == ()


# ---- pieces

FIRST_PARTS = (
    "kind: rod, ids: [R1, R2, R3], state: new, number: NF-1",
    "kind: piston, ids: [P1, P2], state: new",
    "kind: rod_bearing, count: 4, state: new",
    "kind: crankshaft, ids: [C1], state: new",
    "kind: rod_bolt, count: 4",
)
SECOND_PARTS = (
    "kind: rod, ids: [R1], state: reused, number: NF-1",
    "kind: rod, ids: [R2], state: replaced, number: NF-1",
    "kind: rod, ids: [R3], state: spare",
    "kind: rod, ids: [R9], state: new",
    "kind: piston, ids: [P1], state: reconditioned",
    "kind: piston, ids: [P2]",
    "kind: rod_bearing, count: 4, state: replaced",
    "kind: crankshaft, ids: [C1], state: reused, number: other-7",
)


def outcomes(comparison: Comparison) -> dict[str, str]:
    return {each.what: str(each.change) for each in comparison.of("pieces")}


def test_pieces_are_replaced_new_gone_or_came_back(book: Book) -> None:
    write(book, "twin/first", {"parts": parts(*FIRST_PARTS)})
    later(book, {"parts": parts(*SECOND_PARTS)})
    found = compared(book)
    assert outcomes(found) == {
        "rod.R2": "replaced",
        "rod_bearing": "replaced",
        "rod.R9": "new",
        "rod.R3": "gone",
        "rod_bolt": "gone",
        "crankshaft.C1": "came back",
        "rod.R1": "came back",
        "piston.P1": "came back",
        "piston.P2": "came back",
    }
    assert change(found, "rod.R3").why == "kept as a spare"
    assert change(found, "rod.R2").significant is True
    assert change(found, "rod.R1").significant is False
    assert [each.change for each in found.of("pieces")][:2] == ["replaced", "replaced"]
    back = outcomes(compared(book, "twin/second", "twin/first"))
    swapped = {"new": "gone", "gone": "new"}
    assert back == {what: swapped.get(each, each) for what, each in outcomes(found).items()}


def test_another_number_on_the_line_is_another_piece_whatever_its_state_says(book: Book) -> None:
    write(book, "twin/first", {"parts": parts("kind: piston, ids: [P1], state: new, number: TP-1")})
    later(book, {"parts": parts("kind: piston, ids: [P1], state: reused, number: TP-2")})
    assert outcomes(compared(book)) == {"piston.P1": "replaced"}


def test_a_piece_replaced_in_a_build_between_did_not_come_back(book: Book) -> None:
    for name, state, opened in (("first", "new", "2026"), ("middle", "replaced", "2027"), ("third", "reused", "2028")):
        files = {"parts": parts(f"kind: rod, ids: [R1], state: {state}", "kind: rod, ids: [R2], state: reused")}
        write(book, f"twin/{name}", files, opened=f"{opened}-10-01")
    for pair in (("twin/first", "twin/third"), ("twin/third", "twin/first")):
        assert outcomes(compared(book, *pair)) == {"rod.R1": "came back", "rod.R2": "came back"}
        known = outcomes(compared(book, *pair, between=("twin/middle",)))
        assert known == {"rod.R1": "replaced", "rod.R2": "came back"}


def test_in_two_states_of_one_build_a_piece_is_another_one_where_it_was_replaced_meanwhile(book: Book) -> None:
    book.write("parts.yaml", parts("kind: rod, ids: [R1, R2], state: replaced", "kind: pin, ids: [N1], state: new"))
    before = side(book, "twin/first")
    lines = ("kind: rod, ids: [R1], state: replaced", "kind: rod, ids: [R2], state: new")
    book.write("parts.yaml", parts(*lines, "kind: pin, ids: [N1], state: replaced"))
    found = compare(before, side(book, "twin/first"))
    assert outcomes(found) == {"rod.R2": "replaced", "pin.N1": "replaced"}


# ---- the old balance

RODS = range(1, 9)
V8 = "format: 1\nengine: vee\nlayout: v8_90_cross_plane\nunits: {length: mm}\nstroke: 88\nbore_spacing: 110\n"
PLANES = "{front: {position: -50, radius: 80}, rear: {position: 400, radius: 100}}"


def vee(
    book: Book, name: str, big_ends: list[float], pistons: list[float], *, steps: tuple[str, ...] = (), **said: str
) -> None:
    """A cross-plane V8 whose pieces are in the cylinders of their numbers, with bobweights at 50 %."""

    def each(letter: str, weights: list[float]) -> str:
        return ", ".join(f"{letter}{number}: {weight:.1f}" for number, weight in zip(RODS, weights, strict=True))

    files = {
        "weighings": weighings(
            f"id: W1, what: rod_big_end, readings: {{{each('R', big_ends)}}}",
            f"id: W2, what: rod_small_end, readings: {{{each('R', [168.0] * 8)}}}",
            f"id: W3, what: piston, readings: {{{each('P', pistons)}}}",
            f"id: W4, what: pin, readings: {{{each('N', [148.0] * 8)}}}",
            "id: W5, what: ring_set, lot: {total: 344.0, pieces: 8, per_cylinder: 1}",
            "id: W6, what: rod_bearing, lot: {total: 334.4, pieces: 16, per_rod: 2}",
        ),
        "pairings": pairings(*(f"rod: R{n}, piston: P{n}, pin: N{n}" for n in RODS)),
        "parts": said.pop("parts", "format: 1\nparts: []\n"),
        "spins": spins_file(*steps, planes=PLANES).replace("set: {1: 1775.6}", "set: {}"),
    }
    book.write("engines/vee/engine.yaml", V8)
    book.write("shop.yaml", WITH_BALANCER)
    write(book, f"vee/{name}", files, **said)


def by_numpy(throws: list[float]) -> dict[str, complex]:
    """Grams at the planes' radii that these weights [g] on the throws make: the same force and the same moment."""
    angles, places = np.radians([0, 90, 270, 180]), np.array([0, 110, 220, 330])
    vectors = np.array(throws) * 44 * np.exp(1j * angles)
    front, rear = np.linalg.solve(np.array([[1, 1], [-50, 400]]), np.array([vectors.sum(), (places * vectors).sum()]))
    return {"front": complex(front) / 80, "rear": complex(rear) / 100}


SPUN = spin_step("0.3@40", "0.2@200")
LIMIT = "limits: {residual: {front: 1.0, rear: 1.0}}\n"
ALIKE = ([611.0] * 8, [507.0] * 8)
OTHER = ([611.0] * 6 + [616.0, 617.0], [507.0] * 6 + [510.0, 507.0])  # throw 4: 11 g of big ends, 3 g of pistons


def vector(reading: tuple[float, float]) -> complex:
    return complex(reading[0] * np.exp(1j * np.radians(reading[1])))


def test_the_residual_of_a_change_in_bobweights_agrees_with_vectors_worked_by_numpy(book: Book) -> None:
    vee(book, "first", *ALIKE, steps=(SPUN,), more=LIMIT)
    vee(book, "second", *OTHER, opened="2026-10-02", more=LIMIT)
    found = compared(book, "vee/first", "vee/second")
    assert float(change(found, "bobweight.4").change or 0) == pytest.approx(12.5)  # 11 + half of 3
    old = found.old_balance
    assert old is not None
    expected = by_numpy([0, 0, 0, 12.5])
    spun = {"front": vector((0.3, 40)), "rear": vector((0.2, 200))}
    for plane, amount in expected.items():
        assert vector(old.change[plane]) == pytest.approx(amount, abs=1e-9)
        assert vector(old.left[plane]) == pytest.approx(amount + spun[plane], abs=1e-9)
    assert old.shop == {"front": 1.0, "rear": 1.0}
    assert old.verdict == "does not hold"


@settings(max_examples=12)
@given(
    st.lists(st.integers(6000, 6300), min_size=8, max_size=8), st.lists(st.integers(5000, 5200), min_size=8, max_size=8)
)
def test_any_change_in_the_parts_of_a_v8_agrees_with_numpy(
    tmp_path_factory: pytest.TempPathFactory, big_ends: list[int], pistons: list[int]
) -> None:
    book = Book(tmp_path_factory.mktemp("book"))
    ends, tops = [each / 10 for each in big_ends], [each / 10 for each in pistons]
    vee(book, "first", *ALIKE, steps=(SPUN,))
    vee(book, "second", ends, tops)
    old = compared(book, "vee/first", "vee/second").old_balance
    assert old is not None
    more = [sum(ends[n] - 611 + (tops[n] - 507) / 2 for n in (2 * throw, 2 * throw + 1)) for throw in range(4)]
    for plane, amount in by_numpy(more).items():
        assert vector(old.change[plane]) == pytest.approx(amount, abs=1e-6)


def test_a_change_smaller_than_the_limits_leaves_the_old_balance_as_it_is(book: Book) -> None:
    vee(book, "first", *ALIKE, steps=(SPUN,), more=LIMIT)
    vee(book, "second", [611.0] * 7 + [612.0], [507.0] * 8, opened="2026-10-02", more=LIMIT)
    old = compared(book, "vee/first", "vee/second").old_balance
    assert old is not None
    assert old.verdict == "holds"


def test_the_choices_of_the_build_after_are_what_the_old_balance_is_held_to(book: Book) -> None:
    vee(book, "first", *ALIKE, steps=(SPUN,), more="limits: {residual: {front: 20.0, rear: 20.0}}\n")
    vee(book, "second", *OTHER, opened="2026-10-02", more=LIMIT)
    forth = compared(book, "vee/first", "vee/second").old_balance
    assert forth is not None
    assert (forth.verdict, forth.shop) == ("does not hold", {"front": 1.0, "rear": 1.0})
    vee(book, "second", *OTHER, opened="2026-10-02", more="limits: {residual: {front: 30.0, rear: 30.0}}\n")
    loose = compared(book, "vee/first", "vee/second").old_balance
    assert loose is not None
    assert loose.verdict == "holds"


def test_grade_and_speed_of_the_build_after_decide_what_is_permissible(book: Book) -> None:
    # U_per = 9549.2966 G m/n (ISO 21940-11, from memory): 9549.2966 · 16 · 24 / 4800 = 763.94 g·mm, half of it at each
    # of two planes as far from the centre of mass: 381.97 g·mm, 4.7747 g at 80 mm and 3.8197 g at 100 mm; at half the
    # speed twice as much, and at G 6.3 in the ratio 6.3/16.
    crank = parts("kind: crankshaft, ids: [C1], state: reused, mass: 24 kg")
    choices = "factor: 50, oil: 3.0, grade: {}, max_speed: {}"
    vee(book, "first", *ALIKE, steps=(SPUN,), parts=crank, choices=choices.format("G16", 4800))
    for grade, speed, times in (("G16", 4800, 1.0), ("G16", 2400, 2.0), ("G6.3", 4800, 6.3 / 16)):
        vee(book, "second", *ALIKE, opened="2026-10-02", parts=crank, choices=choices.format(grade, speed))
        old = compared(book, "vee/first", "vee/second").old_balance
        assert old is not None
        assert old.permissible == pytest.approx({"front": 4.7747 * times, "rear": 3.8197 * times}, rel=1e-4)
        assert old.verdict == "holds"


def test_a_change_that_was_weighed_after_the_last_spin_counts_in_what_is_left(book: Book) -> None:
    vee(book, "first", *ALIKE, steps=(SPUN, "add: {plane: rear, angle: 90, amount: 5.0, radius: 50}"), more=LIMIT)
    vee(book, "second", *ALIKE, opened="2026-10-02", more=LIMIT)
    old = compared(book, "vee/first", "vee/second").old_balance
    assert old is not None
    # 5 g at 50 mm are 2.5 g at the plane's 100 mm
    assert vector(old.left["rear"]) == pytest.approx(vector((0.2, 200)) + 2.5j, abs=1e-9)
    assert old.verdict == "does not hold"


def test_the_doubt_of_the_change_is_that_of_both_sides_bobweights_through_the_layout(book: Book) -> None:
    vee(book, "first", *ALIKE, steps=(SPUN,), more=LIMIT)
    vee(book, "second", *OTHER, opened="2026-10-02", more=LIMIT)
    old = compared(book, "vee/first", "vee/second").old_balance
    assert old is not None
    throws = [side(book, f"vee/{name}").figures.bobweights.throws for name in ("first", "second")]
    doubts = np.array([hypot(*(each[name].uncertainty for each in throws)) for name in "1234"]) * 44
    levers = (400 - np.array([0, 110, 220, 330])) / 450
    assert old.uncertainty["front"] == pytest.approx(float(np.linalg.norm(doubts * levers)) / 80)
    assert old.uncertainty["rear"] == pytest.approx(float(np.linalg.norm(doubts * (1 - levers))) / 100)


def test_angles_count_from_throw_1_wherever_the_layout_puts_it(book: Book) -> None:
    # One throw in the middle between the planes: half of 10 g at a crank radius of 40 mm goes to each of them.
    turned = "{banks: {left: -45, right: 45}, throws: {1: {angle: 30, cylinders: {1: left, 2: right}}}}"
    book.write("shop.yaml", WITH_BALANCER)
    book.write(
        "engines/twin/engine.yaml",
        STROKE.replace("v2_90_common_pin", turned).replace("length: mm", "length: mm, angle: deg"),
    )
    heavier = ("id: W1, what: rod_big_end, readings: {R1: 426.4, R2: 425.9}", *ALL_WEIGHED[1:])
    machine = {"parts": PARTS, "spins": spins_file(SPUN)}
    write(book, "twin/first", {"weighings": weighings(*ALL_WEIGHED), **machine})
    later(book, {"weighings": weighings(*heavier), **machine})
    old = compared(book).old_balance
    assert old is not None
    assert vector(old.change["front"]) == pytest.approx(10 * 40 / 2 / 80, abs=1e-9)
    assert vector(old.change["rear"]) == pytest.approx(10 * 40 / 2 / 100, abs=1e-9)


CRANK = "kind: crankshaft, ids: [C1], state: "


@pytest.mark.parametrize(
    ("steps", "before", "after", "limit", "why"),
    [
        ((), "new", "reused", LIMIT, "no spin is recorded in vee/first"),
        ((SPUN, "grind: {plane: front, angle: 10}"), "new", "reused", LIMIT, "changed after its last spin"),
        ((SPUN,), "new", "replaced", LIMIT, "crankshaft C1 is another one"),
        ((SPUN,), "new", "reconditioned", LIMIT, "crankshaft C1 was reconditioned since"),
        ((SPUN,), "new", "reused", "", "no residual limit is set"),
    ],
)
def test_where_the_old_balance_cannot_be_said_to_hold_it_says_why(
    book: Book, steps: tuple[str, ...], before: str, after: str, limit: str, why: str
) -> None:
    vee(book, "first", *ALIKE, steps=steps, more=limit, parts=parts(CRANK + before))
    vee(book, "second", *OTHER, opened="2026-10-02", more=limit, parts=parts(CRANK + after))
    old = compared(book, "vee/first", "vee/second").old_balance
    assert old is not None
    assert old.verdict == "cannot be said"
    assert why in old.why
    assert vector(old.change["rear"]) == pytest.approx(by_numpy([0, 0, 0, 12.5])["rear"], abs=1e-9)


def test_before_there_is_a_pairing_the_mean_of_each_kind_stands_for_the_pieces(book: Book) -> None:
    vee(book, "first", *OTHER, steps=(SPUN,), more=LIMIT)
    vee(book, "second", *OTHER, opened="2026-10-02", more=LIMIT)
    (book.root / "engines/vee/second/pairings.yaml").write_text("format: 1\n")
    found = compared(book, "vee/first", "vee/second")
    old = found.old_balance
    assert old is not None
    assert old.of_means is True
    # on throw 4 are 12.5 g more than on the others; spread over all four they are 3.125 g on each
    means = by_numpy([3.125, 3.125, 3.125, 3.125 - 12.5])
    assert vector(old.change["front"]) == pytest.approx(means["front"], abs=1e-9)
    assert "bobweight_spread" not in {each.what for each in found.changes}
    assert change(found, "pairing").why == "not decided yet"


def test_without_planes_or_weights_it_says_what_is_missing(book: Book) -> None:
    vee(book, "first", *ALIKE, steps=(SPUN,), more=LIMIT)
    vee(book, "second", *ALIKE, opened="2026-10-02")
    (book.root / "engines/vee/second/weighings.yaml").write_text(weighings("id: W1, what: pin, readings: {N1: 1.0}"))
    old = compared(book, "vee/first", "vee/second").old_balance
    assert old is not None
    assert (old.verdict, dict(old.change)) == ("cannot be said", {})
    assert "vee/second: " in old.why
    (book.root / "engines/vee/first/spins.yaml").write_text("format: 1\n")
    old = compared(book, "vee/first", "vee/second").old_balance
    assert old is not None
    assert old.why == "vee/first: the front plane has no position and radius"


def test_where_the_build_after_was_spun_itself_what_that_measured_is_told(book: Book) -> None:
    vee(book, "first", *ALIKE, steps=(SPUN,), more=LIMIT)
    grind = "grind: {plane: front, angle: 10}"
    for amount, more, verdict, changed in (("0.1@40", (), "stop", False), ("5.0@40", (grind,), "over", True)):
        steps = (spin_step("3.0@10", "4.0@20"), spin_step(amount, "0.2@200"), *more)
        vee(book, "second", *OTHER, opened="2026-10-02", steps=steps, more=LIMIT)
        old = compared(book, "vee/first", "vee/second").old_balance
        assert old is not None
        assert old.spun is not None
        front = float(amount.partition("@")[0])
        assert vector(old.spun.measured["front"]) == pytest.approx(vector((front, 40)))
        assert vector(old.spun.measured["rear"]) == pytest.approx(vector((0.2, 200)))
        assert (old.spun.standing.verdict, old.spun.changed_since) == (verdict, changed)
        assert old.verdict == "does not hold"  # of what the old balance would have left, had it not been spun


def test_a_later_state_of_one_build_counts_as_spun_only_where_it_holds_a_later_spin(book: Book) -> None:
    vee(book, "first", *ALIKE, steps=(SPUN,), more=LIMIT)
    before = side(book, "vee/first")
    vee(book, "first", *OTHER, steps=(SPUN,), more=LIMIT)
    weighed = compare(before, side(book, "vee/first")).old_balance
    assert weighed is not None
    assert weighed.spun is None
    vee(book, "first", *OTHER, steps=(SPUN, spin_step("0.4@40", "0.2@200")), more=LIMIT)
    again = compare(before, side(book, "vee/first")).old_balance
    assert again is not None
    assert again.spun is not None
    assert vector(again.spun.measured["front"]) == pytest.approx(vector((0.4, 40)))


def test_a_state_from_before_the_first_spin_is_told_what_that_spin_left(book: Book) -> None:
    vee(book, "first", *ALIKE, more=LIMIT)
    before = side(book, "vee/first")
    assert compare(before, side(book, "vee/first")).old_balance is None
    vee(book, "first", *ALIKE, steps=(SPUN,), more=LIMIT)
    first = compare(before, side(book, "vee/first")).old_balance
    assert first is not None
    assert first.spun is not None
    assert first.spun.standing.verdict == "stop"


def test_the_pairing_is_the_reason_for_bobweights_of_the_same_pieces(book: Book) -> None:
    vee(book, "first", *OTHER)
    before = side(book, "vee/first")
    matched = (book.folder.parent.parent / "vee/first/pairings.yaml").read_text()
    book.write("engines/vee/first/pairings.yaml", "format: 1\n")
    unmatched = side(book, "vee/first")
    crossed = matched.replace("R7", "R0").replace("R1", "R7").replace("R0", "R1")
    book.write("engines/vee/first/pairings.yaml", crossed)
    after = side(book, "vee/first")
    assert change(compare(unmatched, after), "bobweight.1").why == "of matched pieces now"
    assert change(compare(after, unmatched), "bobweight.1").why == "of matched pieces before"
    assert change(compare(before, after), "bobweight.1").why == "matched otherwise"


# ---- limits and choices, findings


def test_limits_that_differ_are_tighter_or_looser_and_the_same_size_in_other_words_is_no_change(book: Book) -> None:
    limits = "limits: {{main_clearance: {{min: {}, max: {}}}, top_ring_gap: {{min: {{per_mm: {}}}}}, {}}}\n"
    write(book, "twin/first", {}, more=limits.format("0.0762", "0.100", "0.0045", "quench: {min: 0.9}"))
    extra = "compression_ratio: {min: 9.6}"
    later(book, {}, more=limits.format("0.0030 in", "0.090", "0.0040", extra))
    found = {each.what: (each.why, each.significant) for each in compared(book).of("choices")}
    assert found == {
        "limits.main_clearance.max": ("tighter", True),
        "limits.top_ring_gap.min.per_mm": ("looser", True),
        "limits.quench.min": ("no longer limited", True),
        "limits.compression_ratio.min": ("not limited before", True),
    }


def test_choices_and_sizes_that_differ_say_what_hangs_on_them(book: Book) -> None:
    write(book, "twin/first", {}, choices="factor: 50, oil: 3.0, grade: G16, max_speed: 4800")
    later(
        book,
        {},
        choices="factor: 48, oil: 3.00, grade: G6.3, max_speed: 4800",
        more="intake_closes: 60\nuse: race\npurpose: More power\n",
    )
    found = {each.what: each for each in compared(book).of("choices")}
    assert set(found) == {"balance.factor", "balance.grade", "intake_closes", "use", "purpose"}
    assert (found["purpose"].before, found["purpose"].after) == (None, "More power")
    assert float(found["balance.factor"].change or 0) == -2
    assert found["balance.factor"].why == "changes every bobweight"
    assert (found["balance.grade"].before, found["balance.grade"].after) == ("G16", "G6.3")
    assert found["intake_closes"].unit == "deg"


def test_a_layout_that_was_put_right_is_a_change_of_the_engine(book: Book) -> None:
    before = side(book, "twin/first")
    book.write("engines/twin/engine.yaml", STROKE.replace("v2_90", "v2_60"))
    found = {each.what: each for each in compare(before, side(book, "twin/first")).of("choices")}
    assert (found["engine.layout"].before, found["engine.layout"].after) == ("v2_90_common_pin", "v2_60_common_pin")
    assert found["engine.stroke"].before is None
    assert found["engine.stroke"].after == 80


def test_findings_are_those_that_were_not_there_before(book: Book) -> None:
    limit = "limits: {reciprocating_spread: {max: 0.1}}\n"
    sets = pairings("rod: R1, piston: P1, pin: N1", "rod: R2, piston: P2, pin: N2")
    files = {"parts": PARTS, "weighings": weighings(*ALL_WEIGHED), "pairings": sets}
    write(book, "twin/first", files)
    later(book, files, more=limit)
    (found,) = (each for each in compared(book).of("findings") if each.significant)
    assert (found.what, found.change, found.before) == ("spread", "warning", None)
    assert "0.1" in str(found.after)
    assert compared(book, "twin/second", "twin/first").of("findings") == ()


# ---- two engines


def test_two_engines_are_compared_by_kinds_and_places_and_not_by_ids(book: Book) -> None:
    book.write("shop.yaml", GAUGES)
    for engine, weight, size, make in (("twin", "480.1", "62.180", "A"), ("other", "485.1", "62.170", "B")):
        book.write(f"engines/{engine}/engine.yaml", f"format: 1\nengine: {engine}\nlayout: v2_90_common_pin\n")
        readings = f"id: W1, what: piston, readings: {{P1: {weight}, P2: {weight}}}"
        measured = (f"what: main_journal, readings: {{1: {size}}}", "what: piston_skirt, readings: {P1: 101.7}")
        files = {
            "parts": parts(f"kind: piston, ids: [P1, P2], number: T-{make}", "kind: rod_bolt, count: 4"),
            "weighings": weighings(readings),
            "clearances": clearances(*measured),
        }
        write(book, f"{engine}/first", files)
    found = compared(book, "twin/first", "other/first")
    assert {each.what for each in found.of("figures") if each.change is not None} == {"piston", "main_journal.1"}
    (piston,) = (each for each in found.of("figures") if each.what == "piston")
    assert (float(piston.change or 0), piston.why, piston.significant) == (5, "another engine", True)
    assert piston.uncertainty == pytest.approx(SCALE)  # √2 · u/√2: two means of two, each 0.0577350/√2
    assert change(found, "main_journal.1").significant is True
    (pistons,) = found.of("pieces")  # rod bolts are alike
    assert (pistons.what, pistons.before, pistons.after) == ("piston", "2 × T-A", "2 × T-B")
    assert found.old_balance is not None
    assert found.old_balance.verdict == "cannot be said"


# ---- the same both ways

tenths = st.integers(4800, 4806)
microns = st.integers(62170, 62180)


@settings(max_examples=25)
@given(st.tuples(tenths, tenths), st.tuples(tenths, tenths), microns, microns, st.sampled_from(["reused", "replaced"]))
def test_there_and_back_have_opposite_changes_and_the_same_significance(
    tmp_path_factory: pytest.TempPathFactory,
    old: tuple[int, int],
    new: tuple[int, int],
    journal: int,
    worn: int,
    state: str,
) -> None:
    book = Book(tmp_path_factory.mktemp("book"))
    book.write("shop.yaml", GAUGES)
    sets = pairings("rod: R1, piston: P1, pin: N1", "rod: R2, piston: P2, pin: N2")
    for name, (one, two), size, opened, said in (
        ("first", old, journal, "2026-10-01", "new"),
        ("second", new, worn, "2026-10-02", state),
    ):
        pistons = f"id: W3, what: piston, readings: {{P1: {one / 10:.1f}, P2: {two / 10:.1f}}}"
        files = {
            "parts": PARTS.replace("[P1, P2]", f"[P1, P2], state: {said}"),
            "weighings": weighings(*ALL_WEIGHED[:2], pistons, *ALL_WEIGHED[3:]),
            "clearances": clearances(f"what: main_journal, readings: {{1: {size / 1000:.3f}}}"),
            "pairings": sets,
        }
        write(book, f"twin/{name}", files, opened=opened)
    first, second = side(book, "twin/first"), side(book, "twin/second")
    forth, back = compare(first, second), compare(second, first)
    numbers = {each.what: each for each in forth.changes if each.group in {"figures", "balance"}}
    returned = {each.what: each for each in back.changes if each.group in {"figures", "balance"}}
    assert numbers.keys() == returned.keys()
    for what, each in numbers.items():
        opposite = returned[what]
        assert (opposite.before, opposite.after) == (each.after, each.before)
        assert not isinstance(each.change, str)
        assert opposite.change == (None if each.change is None else -each.change)
        assert opposite.significant is each.significant
        assert opposite.uncertainty == each.uncertainty
        assert opposite.one_piece is each.one_piece
    assert forth.unchanged == back.unchanged

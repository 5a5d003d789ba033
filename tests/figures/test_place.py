"""The best place for every set, worked out again from the files' numbers; and whether it matters."""

from cmath import rect
from fractions import Fraction
from itertools import permutations
from math import radians, sqrt
from typing import NamedTuple

import pytest
from conftest import BUILD, Book
from hypothesis import given, settings
from hypothesis import strategies as st

from buildbook.balance.unbalance import NOTHING, Plane, Planes, Unbalance, predicted
from buildbook.figures.balance import NoBalance
from buildbook.figures.crankpins import by_throw
from buildbook.figures.match import Incomplete
from buildbook.figures.place import PlaceFigures, TooUneven, place_figures
from buildbook.matching import MatchingError
from figures.ledger import pairings, weighings

# Cylinder by cylinder: its crankpin's angle [deg], and where its rod is along the crankshaft [mm], worked out by hand
# from a bore spacing of 100 and a bank offset of 20: a bank's first cylinder is 20 behind that of the other bank, and
# zero is the middle of throw 1.
LAYOUTS: dict[str, list[tuple[float, float]]] = {
    "i4": [(0, 0), (180, 100), (180, 200), (0, 300)],
    "i6": [(0, 0), (240, 100), (120, 200), (120, 300), (240, 400), (0, 500)],
    "v4_90": [(0, -10), (0, 10), (180, 90), (180, 110)],
    "v6_60_split_pin_60": [(30, -10), (330, 10), (270, 90), (210, 110), (150, 190), (90, 210)],
    "flat_4": [(0, 0), (180, 20), (180, 100), (0, 120)],
    "v8_90_cross_plane": [(angle, 100 * at + side) for at, angle in enumerate((0, 90, 270, 180)) for side in (-10, 10)],
}
STROKE, FRONT, REAR = 80.0, Plane(-60.0, 80.0), Plane(420.0, 100.0)

PLANES = "planes: {front: {position: -60, radius: 80}, rear: {position: 420, radius: 100}}"
GRADED = BUILD.replace("oil: 3.0", "oil: 3.0, grade: G16, max_speed: 4800 rpm")
CRANKSHAFT = "  - {kind: crankshaft, ids: [C1], mass: 20 kg}\n"


class Case(NamedTuple):
    """A layout; and the weights of rods' big ends, of their small ends and of the pistons, in hundredths of a gram
    more than 420, 150 and 480 g."""

    layout: str
    big_ends: list[int]
    small_ends: list[int]
    pistons: list[int]

    @property
    def on_pin(self) -> list[float]:
        """What each set puts on its crankpin [g], beyond what all have in common: factor 50."""
        return [
            (big + (small + piston) / 2) / 100
            for big, small, piston in zip(self.big_ends, self.small_ends, self.pistons, strict=True)
        ]


def write(book: Book, case: Case, *, locked: str = "", spins: str = "", parts: str = "", build: str = GRADED) -> Book:
    """A book whose sets are R1 with P1 in cylinder 1 and so on, everything weighed; rings and bearings in a lot."""
    numbers = range(1, len(case.pistons) + 1)

    def readings(letter: str, least: int, weights: list[int]) -> str:
        return ", ".join(f"{letter}{n}: {least + each / 100:.2f}" for n, each in zip(numbers, weights, strict=True))

    book.write(
        "engines/twin/engine.yaml",
        f"format: 1\nengine: twin\nlayout: {case.layout}\nunits: {{length: mm}}\nstroke: 80\n"
        "bore_spacing: 100\nbank_offset: 20\n",
    )
    book.write("build.yaml", build)
    ids = {letter: ", ".join(f"{letter}{n}" for n in numbers) for letter in "RPN"}
    book.write(
        "parts.yaml",
        f"format: 1\nparts:\n  - {{kind: rod, ids: [{ids['R']}]}}\n  - {{kind: piston, ids: [{ids['P']}]}}\n"
        f"  - {{kind: pin, ids: [{ids['N']}]}}\n" + CRANKSHAFT + parts,
    )
    book.write(
        "weighings.yaml",
        weighings(
            f"id: W1, what: rod_big_end, readings: {{{readings('R', 420, case.big_ends)}}}",
            f"id: W2, what: rod_small_end, readings: {{{readings('R', 150, case.small_ends)}}}",
            f"id: W3, what: piston, readings: {{{readings('P', 480, case.pistons)}}}",
            f"id: W4, what: pin, readings: {{{readings('N', 152, [0 for _ in numbers])}}}",
            f"id: W5, what: ring_set, lot: {{total: 400.0, pieces: {len(numbers)}, per_cylinder: 1}}",
            f"id: W6, what: rod_bearing, lot: {{total: 320.0, pieces: {2 * len(numbers)}, per_rod: 2}}",
        ),
    )
    book.write("pairings.yaml", pairings(*(f"rod: R{n}, piston: P{n}, pin: N{n}" for n in numbers), locked=locked))
    book.write(
        "spins.yaml", f"format: 1\nunits: {{mass: g, length: mm, angle: deg, speed: rpm}}\n{PLANES}\n{spins}steps: []\n"
    )
    return book


def placed(book: Book) -> PlaceFigures:
    return place_figures(book.figures(), 10.0)


def carried(case: Case, sets: tuple[int, ...]) -> Unbalance:
    """What the sets leave at the planes [g·mm], sets[c] in cylinder c, against equal bobweights: by the lever rule of
    `balance.unbalance`, mass by mass."""
    planes, weights = Planes(FRONT, REAR), case.on_pin
    mean = sum(weights) / len(weights)
    masses = zip(LAYOUTS[case.layout], sets, strict=True)
    return predicted(
        NOTHING,
        [
            planes.carry((weights[each] - mean) * STROKE / 2 * rect(1, radians(angle)), along)
            for (angle, along), each in masses
        ],
    )


def order_of(found: PlaceFigures) -> tuple[int, ...]:
    return tuple(int(each.was_in or 0) - 1 for each in found.cylinders.values())


@pytest.fixture(scope="module")
def lasting(tmp_path_factory: pytest.TempPathFactory) -> Book:
    """A book that every example of a property writes anew."""
    return Book(tmp_path_factory.mktemp("place") / "book")


@st.composite
def cases(draw: st.DrawFn) -> Case:
    layout = draw(st.sampled_from(sorted(set(LAYOUTS) - {"v8_90_cross_plane"})))
    weights = st.lists(st.integers(0, 120), min_size=len(LAYOUTS[layout]), max_size=len(LAYOUTS[layout]))
    return Case(layout, draw(weights), draw(weights), draw(weights))


def worst(unbalance: Unbalance) -> float:
    """As a share of the permissible residual: 9549.2966 G m/n (ISO 21940-11, from memory), halves at the planes."""
    half = 9549.2966 * 16 * 20 / 4800 / 2
    return max(abs(unbalance.front), abs(unbalance.rear)) / half


@settings(max_examples=25)
@given(cases(), st.data())
def test_of_all_placings_that_keep_the_locks_it_is_the_one_that_leaves_the_least(
    lasting: Book, case: Case, data: st.DataObject
) -> None:
    numbers = range(len(case.pistons))
    lock = data.draw(st.one_of(st.none(), st.tuples(st.sampled_from(numbers), st.sampled_from(numbers))))
    said = "" if lock is None else f"locked: [{{piston: P{lock[0] + 1}, cylinder: {lock[1] + 1}}}]\n"
    found = placed(write(lasting, case, locked=said))
    ways = [sets for sets in permutations(numbers) if lock is None or sets[lock[1]] == lock[0]]
    least = min(worst(carried(case, sets)) for sets in ways)
    assert order_of(found) in ways
    assert found.judged_by == "permissible"
    assert found.after.worst == pytest.approx(least, abs=1e-6)
    assert found.proven
    assert found.bound == pytest.approx(found.after.worst, abs=1e-9)
    assert lock is not None or found.after.worst <= found.before.worst + 1e-12
    for left, sets in ((found.before, tuple(numbers)), (found.after, order_of(found))):
        again = carried(case, sets)
        assert left.unbalance.front == pytest.approx(again.front, abs=1e-6)
        assert left.unbalance.rear == pytest.approx(again.rear, abs=1e-6)


UNEVEN = Case("v8_90_cross_plane", [40, 0, 60, 10, 90, 30, 20, 120], [0] * 8, [10, 0, 80, 30, 20, 50, 0, 90])


def test_eight_are_as_good_as_all_40_320_ways(book: Book) -> None:
    found = placed(write(book, UNEVEN))
    weights, mean = UNEVEN.on_pin, sum(UNEVEN.on_pin) / 8
    planes = Planes(FRONT, REAR)
    acts = [planes.carry(40.0 * rect(1, radians(angle)), along) for angle, along in LAYOUTS[UNEVEN.layout]]
    fronts = [[(weight - mean) * each.front for each in acts] for weight in weights]
    rears = [[(weight - mean) * each.rear for each in acts] for weight in weights]
    least = min(
        max(abs(sum(fronts[s][c] for c, s in enumerate(sets))), abs(sum(rears[s][c] for c, s in enumerate(sets))))
        for sets in permutations(range(8))
    )
    assert max(abs(found.after.unbalance.front), abs(found.after.unbalance.rear)) == pytest.approx(least, abs=1e-6)
    assert found.ways == 40_320
    assert found.proven


def test_equal_sets_leave_nothing_and_stay(book: Book) -> None:
    found = placed(write(book, Case("v8_90_cross_plane", [50] * 8, [20] * 8, [30] * 8)))
    assert found.before.worst == pytest.approx(0, abs=1e-12)
    assert found.after.worst == pytest.approx(0, abs=1e-12)
    assert (found.worth, found.moved) == ("stays", 0)


# ---- what stood in for the parts


def test_against_bobweights_as_set(book: Book) -> None:
    # Each throw carries 420 + 420 and 160 of bearings, half of 2 × (150 + 480 + 152 + 100), and 3 of oil: 1885 g. On
    # throw 1 hangs 1 g too little: 40 g·mm at 0 mm, of which 420/480 act at the front and 60/480 at the rear.
    even = Case("v4_90", [0] * 4, [0] * 4, [0] * 4)
    found = placed(write(book, even, spins="bobweights: {set: {1: 1884.0, 2: 1885.0}, by: ava, with: scale}\n"))
    assert found.start.as_set
    assert found.before.unbalance.front == pytest.approx(40 * 420 / 480)
    assert found.before.unbalance.rear == pytest.approx(40 * 60 / 480)
    assert found.before.standing.amounts == pytest.approx({"front": 35 / 80, "rear": 5 / 100})


def test_without_a_factor_half_of_what_goes_up_and_down_counts(book: Book) -> None:
    case = Case("i4", [0] * 4, [0] * 4, [100, 0, 0, 0])
    found = placed(write(book, case, build=GRADED.replace("factor: 50, ", "")))
    assert float(found.start.factor) == 50
    assert not found.start.as_set
    assert found.before.unbalance.front == pytest.approx(carried(case, (0, 1, 2, 3)).front)


def test_small_things_that_nobody_weighed_count_as_equal(book: Book) -> None:
    case = Case("i4", [30, 0, 0, 10], [0] * 4, [0] * 4)
    with_all = placed(write(book, case))
    text = (book.folder / "weighings.yaml").read_text()
    book.write("weighings.yaml", "\n".join(each for each in text.splitlines() if "ring_set" not in each))
    found = placed(book)
    assert found.start.not_weighed == ("ring set",)
    assert found.after.worst == pytest.approx(with_all.after.worst)


def test_before_anything_is_decided_the_sets_are_those_that_match_finds(book: Book) -> None:
    write(book, UNEVEN)
    book.write("pairings.yaml", "format: 1\n")
    found = placed(book)
    matched = book.figures().match
    assert not found.decided
    assert {tuple(each.pieces.items()) for each in found.cylinders.values()} == {
        tuple(each.pieces.items()) for each in matched.cylinders.values()
    }
    assert found.start.sessions == ("W1", "W2", "W3", "W4")


# ---- what it is judged by


LOPSIDED = Case("i4", [100, 0, 0, 100], [0] * 4, [0] * 4)


def test_judged_by_the_shops_limit_where_there_is_no_permissible(book: Book) -> None:
    limited = BUILD.replace("limits: {", "limits: {residual: {front: 2.0, rear: 1.0}, ")
    found = placed(write(book, LOPSIDED, build=limited))
    assert found.judged_by == "shop"
    grams = found.before.standing.amounts
    assert found.before.worst == pytest.approx(max(grams["front"] / 2, grams["rear"]))


def test_judged_in_grams_where_there_is_no_limit(book: Book) -> None:
    found = placed(write(book, LOPSIDED, build=BUILD))
    assert found.judged_by == "grams"
    assert found.before.worst == pytest.approx(max(found.before.standing.amounts.values()))
    assert not found.before.over


@pytest.mark.parametrize(
    ("big_ends", "worth"),
    [
        # 0.5 g on pins 1 and 4 leave 0.25 g either way; the scale tells 0.1 g and more, and no limit is set
        ([100, 0, 0, 100], "better"),
        ([5, 0, 0, 5], "cannot_tell"),
        ([0, 0, 0, 0], "stays"),
    ],
)
def test_whether_it_matters(book: Book, big_ends: list[int], worth: str) -> None:
    assert placed(write(book, LOPSIDED._replace(big_ends=big_ends), build=BUILD)).worth == worth


def test_what_is_over_a_limit_as_matched_needs_it(book: Book) -> None:
    limited = BUILD.replace("limits: {", "limits: {residual: {front: 0.3, rear: 0.3}, ")
    found = placed(write(book, LOPSIDED, build=limited))
    assert (found.worth, found.before.over, found.after.over) == ("needed", True, False)


def test_what_the_weighings_can_tell_of_two_sets_exchanged(book: Book) -> None:
    # 1 g more in cylinders 1 and 4 of an inline four, whose pins point the same way. Exchanging 2 with 4 puts the two
    # side by side, opposite one another; 1 with 3 does the same at the other end. Each set's own uncertainty: readings
    # 0.1²/12 + 0.05² = 1/300 g² (GUM F.2.2.1, from memory) for the big end, and a quarter of it each for small end,
    # piston and pin: u² = 1.75/300. Both sets turn round from one pin to the other: by 40 g·mm per gram times
    # (320 + 120)/480 at the front and (160 + 360)/480 at the rear for 2 and 4; at k = 2, √2 for two sets.
    found = placed(write(book, LOPSIDED, build=BUILD))
    u = sqrt(1.75 / 300)
    moved = {name for name, each in found.cylinders.items() if each.was_in != name}
    front, rear = {("2", "4"): (320 + 120, 160 + 360), ("1", "3"): (420 + 220, 60 + 260)}[tuple(sorted(moved))]  # type: ignore[index]
    assert found.told["front"] == pytest.approx(2 * sqrt(2) * u * 40 * front / 480 / 80)
    assert found.told["rear"] == pytest.approx(2 * sqrt(2) * u * 40 * rear / 480 / 100)


# ---- one exchange, and throw by throw


def test_the_best_exchange_is_the_best_of_all_28(book: Book) -> None:
    found = placed(write(book, UNEVEN))
    exchange = found.exchange
    assert exchange is not None
    left = []
    for one in range(8):
        for two in range(one):
            sets = list(range(8))
            sets[one], sets[two] = two, one
            left.append(worst(carried(UNEVEN, tuple(sets))))
    assert exchange.left.worst == pytest.approx(min(left), abs=1e-6)
    assert found.after.worst <= exchange.left.worst <= found.before.worst


def test_each_throw_against_the_bobweight_that_is_the_same_for_all(book: Book) -> None:
    case = Case("v4_90", [100, 0, 0, 0], [0] * 4, [0, 0, 100, 0])
    compared = by_throw(write(book, case).figures())
    # throw 1 carries 1 g more of big end, throw 2 half of 1 g more of piston: 1886 and 1885.5 g, mean 1885.75
    assert {name: (float(each.total), float(each.more)) for name, each in compared.throws.items()} == {
        "1": (1886.0, 0.25),
        "2": (1885.5, -0.25),
    }
    assert float(compared.throws["1"].half) == 943.0
    # Bobweights of their own stand midway between rods that are 20 mm apart. Rod 1 is 1 g heavier than rod 2, 10 mm
    # before the middle, and so 0.5 g either way: a couple of 40 × 20 × 0.5 = 400 g·mm², heavy side up in front. On
    # throw 2, turned round, the front rod is 0.5 g heavier: 200 g·mm², heavy side down in front. 200/480 mm are left.
    assert compared.own.unbalance.front == pytest.approx(200 / 480)
    assert compared.own.unbalance.rear == pytest.approx(-200 / 480)
    assert compared.common.unbalance.front == pytest.approx(carried(case, (0, 1, 2, 3)).front)


@pytest.mark.parametrize(
    ("limit", "weight", "worth"), [("0.3", 100, "yes"), ("9.0", 100, "within_limits"), ("0.3", 2, "no")]
)
def test_whether_throw_by_throw_bobweights_are_worth_it(book: Book, limit: str, weight: int, worth: str) -> None:
    limited = BUILD.replace("limits: {", f"limits: {{residual: {{front: {limit}, rear: {limit}}}, ")
    case = Case("i4", [weight, 0, 0, weight], [0] * 4, [0] * 4)
    assert by_throw(write(book, case, build=limited).figures()).worth == worth


# ---- what may go where


CLEARANCES = """\
format: 1
units: {length: mm}
sessions:
  - id: M1
    taken: 2026-10-05
    by: ava
    with: micrometer
    what: cylinder_bore
    readings: {1: 90.060, 2: 90.060, 3: 90.060, 4: %s}
  - id: M2
    taken: 2026-10-05
    by: ava
    with: micrometer
    what: piston_skirt
    readings: {P1: 90.000, P2: 90.000, P3: 90.000, P4: %s}
"""


def test_a_piston_stays_out_of_a_bore_where_its_clearance_would_be_outside_the_limits(book: Book) -> None:
    limited = BUILD.replace("limits: {", "limits: {piston_clearance: {min: 0.040 mm, max: 0.080 mm}, ")
    free = placed(write(book, LOPSIDED, build=limited))
    assert free.kept_out == ()
    assert {name for name, each in free.cylinders.items() if each.was_in != name} in ({"2", "4"}, {"1", "3"})
    # bore 4 and P4 are 0.1 mm larger than the others: only with one another
    book.write("clearances.yaml", CLEARANCES % ("90.160", "90.100"))
    found = placed(book)
    assert set(found.kept_out) == {
        ("P1", "4"), ("P2", "4"), ("P3", "4"), ("P4", "1"), ("P4", "2"), ("P4", "3"),
    }  # fmt: skip
    assert [each.was_in for each in found.cylinders.values()] == ["3", "2", "1", "4"]
    assert found.proven


def test_a_set_that_is_locked_elsewhere_goes_there(book: Book) -> None:
    found = placed(write(book, UNEVEN, locked="locked: [{rod: R2, cylinder: 7}, {piston: P2, pin: N2}]\n"))
    assert found.cylinders["7"].was_in == "2"


def test_what_the_locks_ask_for_is_never_called_a_difference_that_does_not_matter(book: Book) -> None:
    same = UNEVEN._replace(big_ends=[0] * 8, small_ends=[0] * 8, pistons=[0] * 8)
    assert placed(write(book, same, locked="locked: [{rod: R2, cylinder: 2}]\n")).worth == "stays"
    assert placed(write(book, same, locked="locked: [{rod: R2, cylinder: 7}]\n")).worth == "locked"


def test_a_set_that_the_locks_tear_apart_cannot_be_placed(book: Book) -> None:
    torn = "locked: [{rod: R2, cylinder: 7}, {piston: P2, cylinder: 8}]\n"
    with pytest.raises(MatchingError, match="one set into cylinder 7 and into 8"):
        placed(write(book, UNEVEN, locked=torn))
    with pytest.raises(MatchingError, match="two sets into one cylinder"):
        placed(write(book, UNEVEN, locked="locked: [{rod: R2, cylinder: 7}, {rod: R3, cylinder: 7}]\n"))


# ---- sets made up anew


def pieces_in(found: PlaceFigures, kind: str) -> list[int]:
    """Cylinder by cylinder, the number of its piece."""
    return [int(each.pieces[kind][1:]) - 1 for each in found.cylinders.values()]


def test_sets_made_up_anew_leave_less_and_keep_the_spread(book: Book) -> None:
    case = UNEVEN._replace(small_ends=[10, 90, 0, 50, 70, 30, 80, 20])
    write(book, case)
    together = placed(book)
    as_matched = Fraction(
        max(sums := [s + p for s, p in zip(case.small_ends, case.pistons, strict=True)]) - min(sums), 100
    )
    for within in (as_matched, Fraction(3, 10)):
        found = place_figures(book.figures(), 10.0, within)
        rods, pistons = pieces_in(found, "rod"), pieces_in(found, "piston")
        assert sorted(rods) == sorted(pistons) == list(range(8))
        weights = [case.small_ends[rod] + case.pistons[piston] for rod, piston in zip(rods, pistons, strict=True)]
        assert found.anew is not None
        assert float(found.anew.after) == pytest.approx((max(weights) - min(weights)) / 100)
        assert found.anew.before == as_matched
        assert found.anew.after <= within
        remade = case._replace(
            big_ends=[case.big_ends[rod] for rod in rods],
            small_ends=[case.small_ends[rod] for rod in rods],
            pistons=[case.pistons[piston] for piston in pistons],
        )
        assert found.after.worst == pytest.approx(worst(carried(remade, tuple(range(8)))), abs=1e-9)
        assert 0 <= found.bound <= found.after.worst
        if within == found.anew.before:
            assert found.after.worst <= together.after.worst + 1e-12
        assert (found.worth == "evener") == (within < found.anew.before)


def test_four_made_up_anew_are_the_best_of_all(book: Book) -> None:
    case = Case("i4", [40, 0, 60, 10], [10, 0, 20, 40], [30, 0, 80, 20])
    found = place_figures(write(book, case).figures(), 10.0, Fraction(60, 100))
    ways = [
        Case(
            "i4",
            [case.big_ends[r] for r in rods],
            [case.small_ends[r] for r in rods],
            [case.pistons[p] for p in pistons],
        )
        for rods in permutations(range(4))
        for pistons in permutations(range(4))
    ]
    sums = [[small + piston for small, piston in zip(way.small_ends, way.pistons, strict=True)] for way in ways]
    even = [way for way, each in zip(ways, sums, strict=True) if max(each) - min(each) <= 60]
    least = min(worst(carried(way, (0, 1, 2, 3))) for way in even)
    assert 4 < len(even) < len(ways)
    assert found.after.worst == pytest.approx(least, abs=1e-9)
    assert found.proven


def test_pieces_locked_together_stay_together_when_sets_are_made_up_anew(book: Book) -> None:
    locks = "locked: [{rod: R3, piston: P3}, {piston: P7, cylinder: 7}]\n"
    found = place_figures(write(book, UNEVEN, locked=locks).figures(), 10.0, Fraction(2))
    rods, pistons = pieces_in(found, "rod"), pieces_in(found, "piston")
    assert rods.index(2) == pistons.index(2)
    assert pistons[6] == 6
    assert rods != pistons  # others were parted


def test_an_evenness_that_no_sets_have_is_said(book: Book) -> None:
    with pytest.raises(TooUneven, match=r"the most even sets found are 0\.20 g apart, more than 0\.05 g"):
        place_figures(
            write(book, Case("v4_90", [0] * 4, [0, 0, 0, 10], [0, 0, 0, 20])).figures(), 10.0, Fraction(5, 100)
        )


# ---- what is missing


def test_what_is_missing_is_said(book: Book) -> None:
    write(book, LOPSIDED)
    text = (book.folder / "weighings.yaml").read_text()
    book.write("weighings.yaml", text.replace("R3: 420.00, ", ""))
    with pytest.raises(Incomplete, match="rod big end of cylinder 3"):
        placed(book)
    write(book, LOPSIDED)
    book.write("pairings.yaml", pairings("rod: R1, piston: P1, pin: N1"))
    with pytest.raises(Incomplete, match="no set for cylinder 2, 3, 4"):
        placed(book)
    write(book, LOPSIDED)
    engine = (book.root / "engines/twin/engine.yaml").read_text()
    book.write("engines/twin/engine.yaml", engine.replace("bore_spacing: 100\n", ""))
    with pytest.raises(NoBalance, match="bore_spacing"):
        placed(book)
    write(book, LOPSIDED)
    book.write("spins.yaml", "format: 1\nunits: {mass: g}\nsteps: []\n")
    with pytest.raises(NoBalance, match="no position and radius"):
        placed(book)

"""The story at the balancing machine: vectors, predictions and the machine's way of counting, from real files."""

from cmath import rect
from collections.abc import Iterator
from decimal import Decimal
from itertools import product
from math import radians
from typing import Any

import pytest
from conftest import Book
from hypothesis import given, settings
from hypothesis import strategies as st

from buildbook.figures.balance import NoBalance
from figures.ledger import PARTS
from figures.turning import WINDOWS, drilled, on_the_machine, planned, spin, story

CONVENTIONS = [*product(("with_rotation", "against_rotation"), ("heavy_side", "light_side"))]

a_few = settings(max_examples=25)


def place_shown(angle: float, positive: str) -> float:
    """What a machine calls the place at `angle` [deg], counted from throw 1 with rotation: the other way, if so."""
    return (angle if positive == "with_rotation" else -angle) % 360


def reading_shown(angle: float, positive: str, side: str) -> float:
    """What a machine shows for a heavy side at `angle` [deg], as above: the opposite place, if so."""
    return place_shown(angle + (180 if side == "light_side" else 0), positive)


def angles(positive: str, side: str) -> str:
    return f"{{zero: throw 1 up, positive: {positive}, reading: {side}}}"


def apart(one: float, other: float) -> float:
    """How far two directions lie apart [deg]."""
    return abs((one - other + 180) % 360 - 180)


def vector(reading: dict[str, float]) -> complex:
    return rect(reading["amount"], radians(reading["angle"]))


whole_degrees = st.integers(0, 359)


@a_few
@given(front=whole_degrees, rear=whole_degrees, drilled_at=whole_degrees, weight_at=whole_degrees)
def test_the_machines_way_of_counting_changes_angles_and_nothing_else(
    book: Book, front: int, rear: int, drilled_at: int, weight_at: int
) -> None:
    said: list[dict[str, Any]] = []
    for positive, side in CONVENTIONS:
        shown = [reading_shown(angle, positive, side) for angle in (front, rear)]
        on_the_machine(
            book,
            spin(f"20.0@{shown[0]:g}", f"30.0@{shown[1]:g}"),
            f"drill: {{plane: rear, angle: {place_shown(drilled_at, positive):g}, diameter: 16, depth: 12}}",
            f"add: {{plane: front, angle: {place_shown(weight_at, positive):g}, amount: 5.0, position: 40}}",
            spin(f"8.0@{shown[1]:g}", f"9.0@{shown[0]:g}"),
            angles=angles(positive, side),
        )
        said.append(story(book))
    plain, *others = said
    for (positive, side), other in zip(CONVENTIONS[1:], others, strict=True):
        assert (other["floor"], other["verdict"]) == (plain["floor"], plain["verdict"])
        for one, two in zip(shown_vectors(plain), shown_vectors(other), strict=True):
            assert two["amount"] == pytest.approx(one["amount"], rel=1e-9, abs=1e-9)
            assert one["amount"] < 1e-9 or apart(two["angle"], reading_shown(one["angle"], positive, side)) < 1e-6


def shown_vectors(said: dict[str, Any]) -> Iterator[dict[str, float]]:
    for each in said["spins"]:
        vectors = [each, each["static"], each["couple"], each["predicted"], each["missed_by"]]
        vectors += [change["change"] for change in each["since"]]
        yield from (vector[plane] for vector in vectors if vector for plane in ("front", "rear"))


@a_few
@given(front=whole_degrees, rear=whole_degrees)
def test_a_plan_names_the_same_places_however_the_machine_counts(book: Book, front: int, rear: int) -> None:
    found = []
    for positive, side in CONVENTIONS:
        shown = [reading_shown(angle, positive, side) for angle in (front, rear)]
        # arcs from 40° before the heavy side to 50° after it, the way the crankshaft turns
        ends = [place_shown(angle + off, positive) for angle in (front, rear) for off in (-40, 50)]
        if positive == "against_rotation":
            ends = [ends[1], ends[0], ends[3], ends[2]]
        on_the_machine(
            book,
            spin(f"12.0@{shown[0]:g}", f"25.0@{shown[1]:g}"),
            planes=WINDOWS % tuple(f"{end:g}" for end in ends),
            angles=angles(positive, side),
        )
        found.append(planned(book))
    plain, *others = found
    assert plain[0]["holes"]
    for (positive, side), other in zip(CONVENTIONS[1:], others, strict=True):
        # mirrored, the holes of one plan may stand in another order; those of the best plan are told apart by place
        for one, two in zip(*(sorted_holes(plan[0], place) for plan, place in (
            (plain, "with_rotation"), (other, positive),
        )), strict=True):  # fmt: skip
            assert apart(place_shown(two["angle"], positive), one["angle"]) < 0.51  # holes stand on half degrees
            assert (two["plane"], two["diameter"]) == (one["plane"], one["diameter"])
            assert two["depth"] == pytest.approx(one["depth"], abs=0.11)
        for plane in ("front", "rear"):
            one, two = plain[0]["remains"][plane], other[0]["remains"][plane]
            assert two["amount"] == pytest.approx(one["amount"], abs=0.15)
            assert apart(two["angle"], reading_shown(one["angle"], positive, side)) < 15


def sorted_holes(plan: dict[str, Any], positive: str) -> list[dict[str, Any]]:
    return sorted(plan["holes"], key=lambda hole: (hole["plane"], round(place_shown(hole["angle"], positive))))


def test_a_hole_is_drilled_where_the_plan_says_on_a_machine_that_shows_the_light_side(book: Book) -> None:
    # the machine shows where weight is lacking, 228; the heavy side is at 48, and that is where metal goes out
    on_the_machine(
        book,
        spin("0.0@0", "30.0@228"),
        planes=WINDOWS % (0, 90, 0, 90),
        angles=angles("against_rotation", "light_side"),
    )
    best = planned(book)[0]
    assert [(hole["plane"], round(hole["angle"])) for hole in best["holes"]] == [("rear", 48)]
    assert best["remains"]["rear"]["angle"] == pytest.approx(228, abs=0.6)


# The same job twice: lengths in mm and weights in g, and in inches and ounces, 1 in = 25.4 mm and 1 oz = 28.349523125 g
# exactly (international yard and pound agreement of 1959, from memory).
IN_MM = (
    "{mass: g, length: mm, angle: deg}",
    "{front: {position: -101.6, radius: 76.2, windows: [{from: 0, to: 90, depth: 25.4, width: 22.225}]},"
    " rear: {position: 101.6, radius: 88.9, windows: [{from: 100, to: 220, depth: 25.4, width: 22.225}]}}",
    "drill: {plane: front, angle: 40, diameter: 12.7, depth: 9.525, position: -88.9}",
    "plug: {plane: rear, angle: 10, diameter: 19.05, length: 12.7, radius: 63.5, density: 17.3 g/cm3}",
    "bits: [{diameter: 12.7 mm}, {diameter: 19.05 mm}]\n",
)
IN_INCHES = (
    "{mass: oz, length: in, angle: deg}",
    "{front: {position: -4, radius: 3, windows: [{from: 0, to: 90, depth: 1, width: 0.875}]},"
    " rear: {position: 4, radius: 3.5, windows: [{from: 100, to: 220, depth: 1, width: 0.875}]}}",
    "drill: {plane: front, angle: 40, diameter: 0.5, depth: 0.375, position: -3.5}",
    "plug: {plane: rear, angle: 10, diameter: 0.75, length: 0.5, radius: 2.5, density: 17300 kg/m3}",
    "bits: [{diameter: 0.5 in}, {diameter: 0.75 in}]\n",
)
OUNCE = Decimal("28.349523125")


def test_the_same_job_in_inches_and_ounces_and_in_millimetres_and_grams_agrees(book: Book) -> None:
    told = []
    for (units, planes, drill, plug, bits), per_unit in ((IN_MM, OUNCE), (IN_INCHES, Decimal(1))):

        def weight(ounces: str, per_unit: Decimal = per_unit) -> str:
            return f"{Decimal(ounces) * per_unit}"

        on_the_machine(
            book,
            spin(f"{weight('1.1')}@40", f"{weight('1.25')}@160"),
            drill,
            plug,
            f"grind: {{plane: front, angle: 41, amount: {weight('0.03')}}}",
            spin(f"{weight('0.5')}@44", f"{weight('0.75')}@158"),
            units=units,
            planes=planes,
            more="mass_centre: 12.7 mm\n",
        )
        # the bobweights of the book are in g; here they carry their unit, whatever the file's own is
        text = (book.folder / "spins.yaml").read_text().replace("1775.6", "1775.6 g")
        book.write("spins.yaml", text)
        shop = (book.root / "shop.yaml").read_text().partition("bits:")[0]
        book.write("shop.yaml", shop + bits)
        told.append((story(book), planned(book)))
    (metric, metric_plans), (inch, inch_plans) = told
    assert all_numbers(inch) == pytest.approx(all_numbers(metric), rel=1e-9, abs=1e-9)
    assert all_numbers(inch_plans) == pytest.approx(all_numbers(metric_plans), rel=1e-9, abs=1e-9)
    assert metric["spins"][0]["front"]["amount"] == pytest.approx(1.1 * float(OUNCE))


def all_numbers(said: object) -> list[float]:
    if isinstance(said, dict):
        return [number for each in said.values() for number in all_numbers(each)]
    if isinstance(said, list):
        return [number for each in said for number in all_numbers(each)]
    return [float(said)] if isinstance(said, int | float) else []


def test_static_and_couple_parts_by_hand(book: Book) -> None:
    # Planes 200 mm apart, about the middle. Front 10 g × 80 mm = 800 at 0°, rear 4 g × 100 mm = 400 at 180°:
    # resultant 800 − 400 = 400 at 0°, half of it at each plane: 200/80 = 2.5 g and 200/100 = 2 g.
    # Couple (−100) × 800 + 100 × (−400) = −120 000 g·mm², over 200 mm: 600 at the rear at 180°, 600 at the front at 0°:
    # 6 g and 7.5 g. 2.5 + 7.5 = 10 g front, 2 − 6 = −4 g rear.
    on_the_machine(book, spin("10.0@0", "4.0@180"))
    (told,) = story(book)["spins"]
    assert told["static"]["front"] == pytest.approx({"amount": 2.5, "angle": 0}, abs=1e-9)
    assert told["static"]["rear"] == pytest.approx({"amount": 2.0, "angle": 0}, abs=1e-9)
    assert told["couple"]["front"] == pytest.approx({"amount": 7.5, "angle": 0}, abs=1e-9)
    assert told["couple"]["rear"] == pytest.approx({"amount": 6.0, "angle": 180})
    assert (told["static"]["amount"], told["couple"]["amount"]) == pytest.approx((400, 120_000))


def test_static_and_couple_parts_about_the_centre_of_mass(book: Book) -> None:
    # At −50 mm: the resultant 400 at 0° acts there, 3/4 of it at the front: 300/80 = 3.75 g, 100/100 = 1 g at the rear.
    # Couple (−50) × 800 + 150 × (−400) = −100 000 g·mm²: 500 at the rear at 180°.
    on_the_machine(book, spin("10.0@0", "4.0@180"), more="mass_centre: -50\n")
    (told,) = story(book)["spins"]
    assert told["static"]["front"] == pytest.approx({"amount": 3.75, "angle": 0}, abs=1e-9)
    assert told["static"]["rear"] == pytest.approx({"amount": 1.0, "angle": 0}, abs=1e-9)
    assert told["couple"]["rear"] == pytest.approx({"amount": 5.0, "angle": 180})


@a_few
@given(
    amounts=st.tuples(st.integers(0, 900), st.integers(0, 900)),
    at=st.tuples(whole_degrees, whole_degrees),
    centre=st.integers(-300, 300),
)
def test_static_and_couple_parts_add_up_to_the_reading(
    book: Book, amounts: tuple[int, int], at: tuple[int, int], centre: int
) -> None:
    readings = [f"{amount / 10:.1f}@{angle}" for amount, angle in zip(amounts, at, strict=True)]
    on_the_machine(book, spin(*readings), more=f"mass_centre: {centre}\n")
    (told,) = story(book)["spins"]
    for plane in ("front", "rear"):
        together = vector(told["static"][plane]) + vector(told["couple"][plane])
        assert together == pytest.approx(vector(told[plane]), abs=1e-6)


def test_what_changes_add_by_hand(book: Book) -> None:
    # 6 g added at 90°, 100 mm out, 40 mm rearward of the middle: 600 g·mm. Lever rule, planes at ∓100:
    # front (100 − 40)/200 = 0.3: 180/80 = 2.25 g; rear 0.7: 420/100 = 4.2 g.
    # 2 g ground off at 0°, at the front plane and its own radius 80.
    on_the_machine(
        book,
        spin("10.0@0", "5.0@180"),
        "add: {plane: rear, angle: 90, amount: 6.0, radius: 100, position: 40}",
        "grind: {plane: front, angle: 0, amount: 2.0}",
        spin("8.3@15", "6.5@140"),
    )
    first, last = story(book)["spins"]
    assert (first["predicted"], first["missed_by"]) == (None, None)
    added, ground = last["since"]
    assert added["change"]["front"] == pytest.approx({"amount": 2.25, "angle": 90})
    assert added["change"]["rear"] == pytest.approx({"amount": 4.2, "angle": 90})
    assert ground["change"]["front"] == pytest.approx({"amount": 2.0, "angle": 180})
    assert (added["weight"], ground["weight"]) == (6.0, -2.0)
    assert vector(last["predicted"]["front"]) == pytest.approx(8 + 2.25j)
    assert vector(last["predicted"]["rear"]) == pytest.approx(-5 + 4.2j)
    for plane in ("front", "rear"):
        assert vector(last["missed_by"][plane]) == pytest.approx(vector(last[plane]) - vector(last["predicted"][plane]))


def test_a_weight_taken_off_again_takes_with_it_what_it_added(book: Book) -> None:
    on_the_machine(
        book,
        spin("10.0@30", "5.0@180"),
        "add: {plane: rear, angle: 90, amount: 6.0, position: 40}",
        spin("10.4@41", "6.6@140"),
        "remove: {step: S2}",
        spin("10.0@30", "5.0@180"),
    )
    _, on, off = story(book)["spins"]
    (added,), (removed,) = on["since"], off["since"]
    assert removed["weight"] == -added["weight"]
    for plane in ("front", "rear"):
        assert vector(removed["change"][plane]) == pytest.approx(-vector(added["change"][plane]))


def test_predictions_compose(book: Book) -> None:
    """Two corrections at once change what the two would change one after the other."""
    first = "drill: {plane: front, angle: 33, diameter: 16, depth: 9}"
    second = "drill: {plane: rear, angle: 140, diameter: 22, depth: 14, position: 80}"
    on_the_machine(book, spin("20.0@30", "35.0@150"), first, second)
    at_once = story(book)["next"]
    on_the_machine(book, spin("20.0@30", "35.0@150"), first)
    half = story(book)["next"]
    between = [f"{half[plane]['amount']:.12f}@{half[plane]['angle']:.12f}" for plane in ("front", "rear")]
    on_the_machine(book, spin("20.0@30", "35.0@150"), first, spin(*between), second)
    one_by_one = story(book)["next"]
    for plane in ("front", "rear"):
        assert vector(one_by_one[plane]) == pytest.approx(vector(at_once[plane]), abs=1e-9)


def test_holes_drilled_as_planned_are_predicted_to_leave_what_the_plan_said(book: Book) -> None:
    reading, planes = spin("20.0@30", "62.0@150"), WINDOWS % (350, 80, 100, 200)
    on_the_machine(book, reading, planes=planes)
    plans = planned(book)
    assert len({len(plan["holes"]) for plan in plans}) > 1
    for plan in plans:
        on_the_machine(book, reading, *map(drilled, plan["holes"]), planes=planes)
        expected = story(book)["next"]
        for plane in ("front", "rear"):
            assert vector(expected[plane]) == pytest.approx(vector(plan["remains"][plane]), abs=1e-6)


def test_a_plug_set_as_planned_is_predicted_to_leave_what_the_plan_said(book: Book) -> None:
    """Bored with a flat end: a drill's point leaves an empty cone below the plug, which the record does not know of."""
    reading, planes = spin("0.0@0", "12.0@250"), WINDOWS % (0, 90, 30, 110)
    on_the_machine(book, reading, planes=planes)
    shop = (book.root / "shop.yaml").read_text().partition("bits:")[0]
    book.write("shop.yaml", f"{shop}bits: [{{diameter: 12 mm, point: 180 deg}}]\n")
    (best,) = [plan for plan in planned(book, plug=17.0) if {hole["kind"] for hole in plan["holes"]} == {"plug"}][:1]
    steps = [
        f"plug: {{plane: {hole['plane']}, angle: {hole['angle'] % 360:.9f}, radius: {hole['radius']:.9f},"
        f" diameter: {hole['diameter']:g}, length: {hole['depth']:.3f}, density: 17.0 g/cm3}}"
        for hole in best["holes"]
    ]
    on_the_machine(book, reading, *steps, planes=planes)
    expected = story(book)["next"]
    for plane in ("front", "rear"):
        assert vector(expected[plane]) == pytest.approx(vector(best["remains"][plane]), abs=1e-6)


def test_a_spin_that_reads_what_was_predicted_missed_by_nothing(book: Book) -> None:
    steps = [spin("20.0@30", "35.0@150"), "drill: {plane: rear, angle: 150, diameter: 22, depth: 9}"]
    on_the_machine(book, *steps)
    expected = story(book)["next"]
    read = [f"{expected[plane]['amount']:.15f}@{expected[plane]['angle']:.12f}" for plane in ("front", "rear")]
    on_the_machine(book, *steps, spin(*read))
    missed = story(book)["spins"][-1]["missed_by"]
    assert [missed[plane]["amount"] for plane in ("front", "rear")] == pytest.approx([0, 0], abs=1e-9)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ("grind: {plane: rear, angle: 20}", "not weighed"),
        ("index: {part: C1, angle: 180}", "before it is spun"),
    ],
)
def test_what_is_not_known_is_not_predicted(book: Book, change: str, why: str) -> None:
    on_the_machine(book, spin("2.0@30", "3.0@150"), change, spin("1.0@30", "1.0@150"))
    last = story(book)["spins"][-1]
    assert (last["predicted"], last["missed_by"]) == (None, None)
    assert why in last["since"][0]["unknown"]


def test_a_part_put_on_counts_as_neutral_until_it_is_spun(book: Book) -> None:
    on_the_machine(book, spin("2.0@30", "3.0@150"), "fit: {part: C1}", spin("2.5@30", "3.0@150"))
    last = story(book)["spins"][-1]
    assert vector(last["predicted"]["front"]) == pytest.approx(rect(2, radians(30)))
    assert last["missed_by"]["front"] == pytest.approx({"amount": 0.5, "angle": 30})


def test_a_voided_step_is_as_if_it_had_not_been(book: Book) -> None:
    steps = [spin("20.0@30", "35.0@150"), "drill: {plane: rear, angle: 150, diameter: 22, depth: 9}"]
    on_the_machine(book, *steps, spin("20.0@30", "20.0@150"))
    plain = story(book)
    voided = [
        f"id: V1, void: bench shaken, {spin('99.0@30', '99.0@150')}",
        "id: V2, void: not drilled, drill: {plane: front, angle: 150, diameter: 22, depth: 9}",
    ]
    on_the_machine(book, *steps, *voided, f"id: S3, {spin('20.0@30', '20.0@150')}")
    assert story(book) == plain


@pytest.mark.parametrize(
    ("density", "weight"),
    # π/4 × 12² × 25 + π × 12³/(24 tan 59°) = 2963.34 mm³ (geometry), from a flat face
    [("", 2.96334 * 7.83), ("density: 7.2 g/cm3", 21.336), ("density: 0.25 lb/in3", 2.96334 * 0.25 * 27.6799047)],
)
def test_a_hole_is_of_the_crankshafts_metal(book: Book, density: str, weight: float) -> None:
    # steel of 7.83 g/cm³ where none is stated: common practice, no source
    on_the_machine(
        book,
        spin("20.0@30", "35.0@150"),
        "drill: {plane: rear, angle: 150, diameter: 12, depth: 25, along: axis, radius: 70}",
        spin("20.0@30", "20.0@150"),
    )
    book.write("parts.yaml", PARTS + f"  - {{kind: crankshaft, ids: [C1]{', ' if density else ''}{density}}}\n")
    (hole,) = story(book)["spins"][-1]["since"]
    assert -hole["weight"] == pytest.approx(weight, rel=1e-5)
    assert hole["change"]["rear"]["amount"] == pytest.approx(weight * 70 / 100, rel=1e-5)
    assert hole["change"]["rear"]["angle"] == pytest.approx(330)


def test_a_hole_may_say_its_own_metal(book: Book) -> None:
    # 2963.34 mm³ as above, at 7.85 g/cm³
    on_the_machine(
        book,
        spin("20.0@30", "35.0@150"),
        "drill: {plane: rear, angle: 150, diameter: 12, depth: 25, along: axis, radius: 70, density: 7.85 g/cm3}",
        spin("20.0@30", "20.0@150"),
    )
    assert story(book)["spins"][-1]["since"][0]["weight"] == pytest.approx(-23.262, rel=1e-4)


def test_a_plug_adds_the_difference_of_densities(book: Book) -> None:
    # 20 mm × 20 mm: 2000 π mm³, (17.0 − 7.83) g/cm³: 57.6168 g on an axis 70 mm out
    on_the_machine(
        book,
        spin("20.0@30", "35.0@150"),
        "plug: {plane: rear, angle: 330, diameter: 20, length: 20, radius: 70}",
        spin("20.0@30", "20.0@150"),
    )
    (plug,) = story(book)["spins"][-1]["since"]
    assert plug["weight"] == pytest.approx(57.6168, rel=1e-5)
    assert plug["change"]["rear"] == pytest.approx({"amount": 57.6168 * 0.7, "angle": 330}, rel=1e-5)


@pytest.mark.parametrize(
    ("planes", "what"),
    [
        ("{front: {position: 0, radius: 80}}", "the rear plane has no position and radius"),
        ("{front: {position: 0}, rear: {position: 9, radius: 1}}", "the front plane has no position and radius"),
        ('{front: {position: 0, radius: "0 mm"}, rear: {position: 9, radius: 1}}', "at a radius of 0 mm makes no"),
        ("{front: {position: 9, radius: 1}, rear: {position: 9, radius: 1}}", "both planes are at 9 mm"),
    ],
)
def test_without_planes_there_is_no_story(book: Book, planes: str, what: str) -> None:
    on_the_machine(book, spin("2.0@30", "3.0@150"), planes=planes)
    with pytest.raises(NoBalance, match=what):
        assert book.figures().balance


def test_repeated_spins_tell_the_machines_repeatability(book: Book) -> None:
    # Front x reads 1.0 and 1.2 g at 80 mm: 80 and 96 g·mm, squared deviations 64 + 64; y and the rear repeat exactly.
    # Pooled over four components of one degree of freedom each (GUM 4.2.4, note, from memory): √(128/4) = 5.657 g·mm,
    # and the shop states 0.12 g, at 100 mm, for its machine: 12 g·mm, the larger of the two.
    on_the_machine(book, spin("1.0@0", "1.0@0"), spin("1.2@0", "1.0@0"))
    assert book.figures().balance.repeatability == pytest.approx(12)
    shop = (book.root / "shop.yaml").read_text()
    book.write("shop.yaml", shop.replace(", repeatability: 0.12 g", ""))
    assert book.figures().balance.repeatability == pytest.approx(32**0.5)
    on_the_machine(book, spin("1.0@0", "1.0@0"), "fit: {part: C1}", spin("1.2@0", "1.0@0", ", carrying: [C1]"))
    book.write("shop.yaml", shop.replace(", repeatability: 0.12 g", ""))
    assert book.figures().balance.repeatability is None

from cmath import phase, rect
from collections.abc import Mapping, Sequence
from itertools import combinations
from math import asin, degrees, nan, pi, radians, sin, sqrt

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from buildbook.balance.cutting import Bit, Window
from buildbook.balance.holes import CannotCut, Plug, RadialHole, depth_for, point_length
from buildbook.balance.plans import Hole, NoPlan, Plan, ReadingPlane, plans

STEEL, HEAVY_METAL = 7.83, 17.5
WEB = 3.0
PLANES = {"front": ReadingPlane(-54, 88), "rear": ReadingPlane(389, 91)}
BITS = [Bit(12.7), Bit(16), Bit(20, 135), Bit(22)]
WINDOWS = {
    "front": [
        Window(140, 235, 90, -40, 30, 28),
        Window(320, 40, 90, 15, 30, 28),
        Window(55, 120, 88, -40, 25, 28),
    ],
    "rear": [
        Window(10, 80, 92, 370, 30, 28),
        Window(190, 275, 92, 330, 35, 30),
        Window(100, 170, 92, 370, 28, 21),
    ],
}
AT_THE_PLANES = {
    "front": [Window(140, 230, 88, -54, 40, 30), Window(320, 40, 88, -54, 40, 30)],
    "rear": [Window(10, 80, 91, 389, 40, 30), Window(190, 260, 91, 389, 40, 30)],
}

a_few = settings(max_examples=40)
vectors = st.builds(
    lambda grams, angle: rect(grams * 90, radians(angle)),
    st.floats(1, 90),
    st.floats(0, 360, exclude_max=True),
)


def at(grams: float, radius: float, angle: float) -> complex:
    return rect(grams * radius, radians(angle))


def planned(
    front: complex,
    rear: complex,
    windows: Mapping[str, Sequence[Window]] = WINDOWS,
    *,
    bits: Sequence[Bit] = BITS,
    planes: Mapping[str, ReadingPlane] = PLANES,
    leave: float = 0.05,
    plug_density: float | None = None,
    within: Mapping[str, float] | None = None,
    most_holes: int = 4,
    step: float = 0.1,
    density: float = STEEL,
    web: float = WEB,
) -> list[Plan]:
    return plans(
        {"front": front, "rear": rear},
        planes,
        windows,
        bits,
        density,
        leave=leave,
        plug_density=plug_density,
        within=within,
        most_holes=most_holes,
        most_plans=1000,
        web=web,
        step=step,
    )


def planned_or_none(front: complex, rear: complex, plug_density: float | None = HEAVY_METAL) -> list[Plan]:
    try:
        return planned(front, rear, plug_density=plug_density)
    except NoPlan:
        return []


def taken(hole: Hole) -> complex:
    """What a hole takes away, from nothing but the size and place it is listed with."""
    if hole.kind == "hole":
        cut = RadialHole(hole.radius, hole.diameter, hole.depth, hole.point, STEEL)
        return rect(cut.unbalance, radians(hole.angle))
    plug = Plug("axial", hole.radius, hole.diameter, hole.depth, HEAVY_METAL, STEEL, hole.point)
    return rect(plug.unbalance, radians(hole.angle + 180))


def outline(hole: Hole) -> list[complex]:
    """Corners of a radial hole as seen along the crankshaft, out to the rim; tip first."""
    bore, shoulder = hole.diameter / 2, hole.radius - hole.depth
    mouth = max(sqrt(hole.radius**2 - bore**2), shoulder)
    corners = [
        complex(shoulder - point_length(hole.diameter, hole.point)),
        complex(shoulder, bore),
        complex(mouth, bore),
        complex(mouth, -bore),
        complex(shoulder, -bore),
    ]
    return [corner * rect(1, radians(hole.angle)) for corner in corners]


def apart(one: Sequence[complex], other: Sequence[complex]) -> float:
    """Least distance between the outlines of two convex shapes that do not overlap."""

    def from_corners(corners: Sequence[complex], edges: Sequence[complex]) -> float:
        start = np.array(edges)
        along = np.roll(start, -1) - start
        away = np.array(corners)[:, None] - start
        share = np.clip((away * along.conj()).real / np.maximum(abs(along) ** 2, 1e-12), 0, 1)
        return float(abs(away - share * along).min())

    return min(from_corners(one, other), from_corners(other, one))


def window_of(hole: Hole, windows: Mapping[str, Sequence[Window]]) -> Window:
    """The window a hole stands in with all its corners."""
    if hole.kind == "hole":
        directions = [degrees(phase(corner)) for corner in outline(hole) if abs(corner) > 1e-9]
    else:
        half = degrees(asin(hole.diameter / 2 / hole.radius))
        directions = [hole.angle - half, hole.angle + half]
    for window in windows[hole.plane]:
        span = (window.end - window.start) % 360
        if window.position == hole.position and all(
            -1e-6 <= (each - window.start + 90) % 360 - 90 <= span + 1e-6 for each in directions
        ):
            return window
    raise AssertionError(f"{hole} stands in no window")


# ---- the arithmetic


@a_few
@given(vectors, vectors)
def test_applied_to_its_own_unbalance_a_plan_leaves_what_it_says(front: complex, rear: complex) -> None:
    # by force and moment about throw 1, where the plan itself goes by levers
    positions = {name: plane.position for name, plane in PLANES.items()}
    for plan in planned_or_none(front, rear):
        assert sum(plan.remains.values()) == pytest.approx(
            front + rear - sum(taken(hole) for hole in plan.holes), abs=1e-3
        )
        assert sum(positions[name] * left for name, left in plan.remains.items()) == pytest.approx(
            positions["front"] * front
            + positions["rear"] * rear
            - sum(hole.position * taken(hole) for hole in plan.holes),
            abs=0.1,
        )


@a_few
@given(vectors, vectors)
def test_a_plan_never_takes_the_unbalance_past_zero(front: complex, rear: complex) -> None:
    for plan in planned_or_none(front, rear):
        for hole in plan.holes:
            assert hole.unbalance == pytest.approx(taken(hole), abs=1e-6)
        if "left alone" not in plan.ways.values():
            assert max(abs(plan.remains["front"]) / 88, abs(plan.remains["rear"]) / 91) < max(
                abs(front) / 88, abs(rear) / 91
            )


@a_few
@given(vectors, vectors, st.floats(0, 360))
def test_turning_every_angle_turns_the_answer(front: complex, rear: complex, turn: float) -> None:
    turned_windows = {
        plane: [
            Window(each.start + turn, each.end + turn, each.radius, each.position, each.depth, each.width)
            for each in arcs
        ]
        for plane, arcs in WINDOWS.items()
    }
    by = rect(1, radians(turn))
    still = planned_or_none(front, rear)
    assume(still)
    turned = planned(front * by, rear * by, turned_windows, plug_density=HEAVY_METAL)
    assert [plan.ways for plan in turned] == [plan.ways for plan in still]
    for one, other in zip(still, turned, strict=True):
        for before, after in zip(one.holes, other.holes, strict=True):
            assert (after.angle - before.angle - turn + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)
            assert after.depth == before.depth
        for plane, left in one.remains.items():
            assert other.remains[plane] == pytest.approx(left * by, abs=1e-6)


@a_few
@given(vectors, vectors)
def test_swapping_planes_swaps_the_answer(front: complex, rear: complex) -> None:
    swapped = {"front": "rear", "rear": "front"}
    still = planned_or_none(front, rear)
    assume(still)
    turned_round = planned(
        rear,
        front,
        {swapped[plane]: arcs for plane, arcs in WINDOWS.items()},
        planes={swapped[name]: plane for name, plane in PLANES.items()},
        plug_density=HEAVY_METAL,
    )

    def told(plan: Plan, names: Mapping[str, str]) -> object:
        holes = sorted((names[hole.plane], round(hole.angle, 6), hole.diameter, hole.depth) for hole in plan.holes)
        return sorted((names[plane], way) for plane, way in plan.ways.items()), holes

    same = {"front": "front", "rear": "rear"}
    assert [told(plan, swapped) for plan in turned_round] == [told(plan, same) for plan in still]


@a_few
@given(vectors, vectors, st.floats(0.03, 30))
def test_same_job_in_other_units_of_length_agrees(front: complex, rear: complex, unit: float) -> None:
    # lengths scale with the unit, weights with its cube, unbalance with its fourth power
    still = planned_or_none(front, rear, plug_density=None)
    assume(still)
    scaled = planned(
        front * unit**4,
        rear * unit**4,
        {
            plane: [
                Window(
                    each.start,
                    each.end,
                    each.radius * unit,
                    each.position * unit,
                    each.depth and each.depth * unit,
                    each.width and each.width * unit,
                )
                for each in arcs
            ]
            for plane, arcs in WINDOWS.items()
        },
        bits=[Bit(bit.diameter * unit, bit.point) for bit in BITS],
        planes={name: ReadingPlane(plane.position * unit, plane.radius * unit) for name, plane in PLANES.items()},
        step=0.1 * unit,
        web=WEB * unit,
    )

    def one_bit(found: Sequence[Plan], unit: float) -> dict[object, object]:
        """Plans by their ways and their bit; which mixture of bits is told first may hang on the last digit."""
        return {
            (tuple(plan.ways.values()), bits.pop()): sorted(
                (round(hole.angle, 4), round(hole.depth / unit, 4), round(hole.weight / unit**3, 2))
                for hole in plan.holes
            )
            for plan in found
            if len(bits := {round(hole.diameter / unit, 4) for hole in plan.holes}) == 1
        }

    assert one_bit(scaled, unit) == one_bit(still, 1)


# ---- what can be drilled


@a_few
@given(vectors, vectors)
def test_no_hole_leaves_its_window_or_goes_deeper_than_its_limit(front: complex, rear: complex) -> None:
    for plan in planned_or_none(front, rear):
        for hole in plan.holes:
            window = window_of(hole, WINDOWS)
            assert window.depth is not None
            assert window.width is not None
            length = hole.depth + point_length(hole.diameter, hole.point)
            if hole.kind == "hole":
                assert length <= window.depth + 1e-9
                assert hole.diameter <= window.width
            else:
                assert length <= window.width + 1e-9
                assert hole.radius + hole.diameter / 2 <= window.radius - WEB + 1e-9
                assert window.radius - hole.radius + hole.diameter / 2 <= window.depth + 1e-9


@a_few
@given(vectors, vectors)
def test_metal_stays_between_holes(front: complex, rear: complex) -> None:
    for plan in planned_or_none(front, rear):
        for one, other in combinations(plan.holes, 2):
            if one.position != other.position:
                assert abs(one.position - other.position) >= (one.diameter + other.diameter) / 2 + WEB
            elif one.kind == "hole":
                assert apart(outline(one), outline(other)) >= WEB - 1e-6
            else:
                between = 2 * one.radius * sin(radians(abs((one.angle - other.angle + 180) % 360 - 180)) / 2)
                assert between >= one.diameter + WEB - 1e-6


def test_deep_holes_are_spread_wider_than_shallow_ones() -> None:
    def spread(grams: float) -> float:
        windows = {"front": [Window(0, 360, 88, -54)], "rear": [Window(0, 360, 91, 389)]}
        front, other = [
            hole
            for plan in planned(at(grams, 88, 180), 0, windows, bits=[Bit(16)])
            if plan.ways["front"] == "two holes side by side"
            for hole in plan.holes
        ]
        return other.angle - front.angle

    assert spread(20) < spread(70) < spread(120)


def test_depths_are_rounded_down_to_the_step() -> None:
    for step in (0.1, 0.25, 1.0):
        for plan in planned(at(30, 88, 190), at(40, 91, 50), step=step, leave=0):
            for hole in plan.holes:
                assert hole.depth / step == pytest.approx(round(hole.depth / step), abs=1e-6)


# ---- the ways


def test_a_hole_that_was_filled_is_found_again() -> None:
    # two known holes off the reading planes, carried to them by moments; nothing left on purpose
    front = RadialHole(90, 22, 12.3, 118, STEEL).unbalance * rect(1, radians(190))
    rear = RadialHole(92, 16, 9.7, 118, STEEL).unbalance * rect(1, radians(45))
    length = 389 + 54
    best = planned(
        (front * (389 + 40) + rear * (389 - 370)) / length,
        (front * (-40 + 54) + rear * (370 + 54)) / length,
        leave=0,
        bits=[Bit(22)],
    )[0]
    assert best.ways == {"front": "one hole", "rear": "one hole"}
    assert best.holes[0].depth == 12.3
    assert best.holes[0].angle == pytest.approx(190)
    assert best.holes[1].angle == pytest.approx(45)
    assert abs(best.remains["front"]) < 1e-3 * abs(front)


def test_the_share_to_leave_is_left() -> None:
    for leave in (0.0, 0.05, 0.2):
        best = planned(at(20, 88, 190), at(40, 91, 50), AT_THE_PLANES, leave=leave, step=0.001, bits=[Bit(22)])[0]
        assert abs(best.remains["rear"]) / 91 == pytest.approx(40 * leave, abs=0.01)
        assert abs(best.remains["front"]) / 88 == pytest.approx(20 * leave, abs=0.01)


def test_heavy_side_between_counterweights_is_shared_exactly() -> None:
    found = planned(0, at(40, 91, 120), AT_THE_PLANES, leave=0, step=1e-4)
    assert {plan.ways["rear"] for plan in found} >= {"one hole to either side"}
    for plan in found:
        assert abs(plan.remains["rear"]) / 91 < 0.01
    first, second = next(plan.holes for plan in found if len(plan.holes) == 2)
    assert 10 < first.angle < 80
    assert 190 < second.angle < 260
    # law of sines in the triangle of the two amounts and what they make up
    between = radians(second.angle - first.angle)
    assert abs(first.unbalance) == pytest.approx(40 * 91 * sin(radians(second.angle - 120)) / sin(between), rel=1e-3)
    assert abs(second.unbalance) == pytest.approx(40 * 91 * sin(radians(120 - first.angle)) / sin(between), rel=1e-3)


def test_heavy_side_between_counterweights_at_different_places_is_shared_exactly() -> None:
    windows = {
        "front": AT_THE_PLANES["front"],
        "rear": [Window(10, 80, 91, 389, 40), Window(190, 260, 91, 330, 40)],
    }
    found = planned(at(30, 88, 185), at(40, 91, 120), windows, leave=0, step=1e-4)
    assert all(abs(left) / 90 < 0.01 for plan in found for left in plan.remains.values())


def test_metal_stays_between_the_holes_of_two_windows_that_nearly_touch() -> None:
    windows = {
        "front": AT_THE_PLANES["front"],
        "rear": [Window(10, 60, 91, 389, 40), Window(62, 110, 91, 389, 40)],
    }
    shared = [plan for plan in planned(0, at(60, 91, 61), windows) if "to either side" in plan.ways["rear"]]
    assert shared
    for plan in shared:
        assert apart(outline(plan.holes[0]), outline(plan.holes[1])) >= WEB - 1e-6


def test_heavy_side_too_near_the_end_of_its_window_is_shared_with_the_next() -> None:
    found = planned(0, at(40, 91, 79), AT_THE_PLANES)
    assert "one hole to either side" in {plan.ways["rear"] for plan in found}
    for hole in found[0].holes:
        window_of(hole, AT_THE_PLANES)


def test_only_neighbouring_windows_wide_enough_for_a_hole_share() -> None:
    def ways(*arcs: tuple[float, float]) -> set[str]:
        windows = {"front": AT_THE_PLANES["front"], "rear": [Window(*arc, 91, 389, 40) for arc in arcs]}
        try:
            return {plan.ways["rear"] for plan in planned(0, at(40, 91, 60), windows)}
        except NoPlan:
            return set()

    assert "one hole to either side" in ways((10, 50), (70, 110))
    assert not ways((44, 50), (70, 110))
    assert not ways((10, 50), (70, 76))
    assert not ways((10, 50), (59, 61), (70, 110))


def test_a_window_all_round_has_no_end_to_keep_away_from() -> None:
    windows = {"front": [Window(0, 360, 88, -54, 40)], "rear": [Window(90, 450, 91, 389, 40)]}
    found = planned(at(40, 88, 0.5), at(40, 91, 89.5), windows)
    assert found[0].ways == {"front": "one hole", "rear": "one hole"}


def test_a_plug_needs_the_counterweights_width_and_metal_to_the_rim() -> None:
    def ways(depth: float | None, width: float | None) -> list[str]:
        windows = {"front": AT_THE_PLANES["front"], "rear": [Window(100, 170, 91, 389, depth, width)]}
        try:
            found = planned(0, at(20, 91, 305), windows, bits=[Bit(20)], plug_density=HEAVY_METAL)
        except NoPlan as refused:
            return [str(reason) for reason in refused.reasons][1:]
        return [plan.ways["rear"] for plan in found][:1]

    assert ways(23.1, 30) == ["plug of heavy metal"]
    assert ways(22.9, 30) == ["rear: a 20 mm plug with 3 mm of metal to the rim is deeper than the limit"]
    assert ways(None, None) == ["rear: whether a 20 mm plug fits takes the counterweight's width to tell"]
    assert "bored" in ways(None, 6.1)[0]


def test_plug_goes_to_the_light_side_and_only_where_heavy_metal_is_at_hand() -> None:
    front, rear = (
        at(20, 88, 190),
        at(40, 91, 305),
    )  # the rear's light side, 125°, is in a window; its heavy side not
    windows = {"front": AT_THE_PLANES["front"], "rear": [Window(100, 170, 91, 389, 40, 30)]}
    with pytest.raises(NoPlan):
        planned(front, rear, windows)
    best = planned(front, rear, windows, plug_density=HEAVY_METAL)[0]
    plug = best.holes[-1]
    assert best.ways["rear"] == "plug of heavy metal"
    assert (plug.kind, plug.plane) == ("plug", "rear")
    assert plug.angle == pytest.approx(125)
    assert degrees(phase(plug.unbalance)) % 360 == pytest.approx(305)


def test_one_hole_comes_before_two_and_a_hole_before_a_plug() -> None:
    windows = {"front": [Window(0, 360, 88, -54, 40, 30)], "rear": [Window(0, 360, 91, 389, 40, 30)]}
    found = planned(at(20, 88, 190), at(30, 91, 50), windows, plug_density=HEAVY_METAL, step=0.001)
    counts = [len(plan.holes) for plan in found]
    assert counts == sorted(counts)
    assert {hole.kind for hole in found[0].holes} == {"hole"}
    assert {hole.kind for plan in found for hole in plan.holes} == {"hole", "plug"}
    assert {hole.diameter for hole in found[0].holes} == {22}  # the widest bit goes the least deep


def test_a_plane_within_its_limit_is_left_alone() -> None:
    found = planned(at(1, 88, 190), at(40, 91, 50), AT_THE_PLANES, within={"front": 1.5 * 88})
    assert {plan.ways["front"] for plan in found} == {"left alone"}
    assert found[0].remains["front"] == pytest.approx(at(1, 88, 190))
    assert planned(at(1, 88, 190), 0, AT_THE_PLANES, within={"front": 1.5 * 88}) == [
        Plan((), {"front": "left alone", "rear": "left alone"}, {"front": at(1, 88, 190), "rear": 0})
    ]


def test_a_plane_within_its_limit_is_drilled_after_all_where_the_other_would_put_it_out() -> None:
    windows = {"front": [Window(0, 360, 88, -54)], "rear": [Window(0, 360, 91, 300)]}
    found = planned(at(1, 88, 50), at(60, 91, 50), windows, within={"front": 1.5 * 88})
    assert all(plan.ways["front"] != "left alone" for plan in found)
    assert all(hole.angle == pytest.approx(230) for hole in found[0].holes if hole.plane == "front")


def test_too_little_for_any_bit_is_left_alone() -> None:
    found = planned(at(0.05, 88, 190), at(40, 91, 50), AT_THE_PLANES)
    assert {plan.ways["front"] for plan in found} == {"left alone"}


def test_simple_estimate_stands_beside_the_exact_hole() -> None:
    hole = planned(at(60, 88, 185), at(60, 91, 45), AT_THE_PLANES, bits=[Bit(22)])[0].holes[0]
    assert hole.simple.weight == pytest.approx(STEEL / 1000 * pi / 4 * 22**2 * hole.depth)
    assert hole.simple.unbalance > abs(hole.unbalance)


# ---- no way


def reasons(front: complex, rear: complex, windows: Mapping[str, Sequence[Window]], **more: float) -> list[str]:
    with pytest.raises(NoPlan) as refused:
        planned(front, rear, windows, bits=[Bit(12)], plug_density=more.get("plug_density"))
    return [str(reason) for reason in refused.value.reasons]


def test_says_that_the_heavy_side_lies_in_no_window() -> None:
    windows = {"front": AT_THE_PLANES["front"], "rear": [Window(100, 170, 91, 389, 40, 30)]}
    assert reasons(at(10, 88, 190), at(40, 91, 48), windows) == ["rear: the heavy side at 48° lies in no window"]
    assert reasons(at(10, 88, 190), at(40, 91, 48), windows, plug_density=HEAVY_METAL) == [
        "rear: the heavy side at 48° lies in no window",
        "rear: the light side at 228° lies in no window",
    ]


def test_says_how_deep_the_hole_would_have_to_go() -> None:
    windows = {"front": AT_THE_PLANES["front"], "rear": [Window(40, 58, 91, 389, 30)]}
    (reason,) = reasons(at(10, 88, 190), at(38, 91, 48), windows)
    depth = depth_for(0.95 * 38 * 91, radius=91, diameter=12, point=118, density=STEEL)
    assert depth is not None
    tip = depth + point_length(12, 118)
    assert reason == f"rear: one 12 mm hole would have to go {tip:.3g} mm deep at the tip; the limit is 30 mm"


@pytest.mark.parametrize(
    ("rear", "window", "said"),
    [
        (
            at(40, 91, 48),
            Window(10, 80, 91, 389, 30, 10),
            "a 12 mm bit is wider than the counterweight, 10 mm",
        ),
        (
            at(40, 91, 48),
            Window(10, 80, 91, 389, 3),
            "the point alone of a 12 mm bit is longer than the limit",
        ),
        (
            at(10, 91, 12),
            Window(10, 80, 91, 389, 30),
            "one 12 mm hole would reach past the end of the window",
        ),
        (at(400, 91, 48), Window(0, 360, 91, 389), "one 12 mm hole cannot take that much, however deep"),
    ],
)
def test_says_why_the_hole_does_not_fit(rear: complex, window: Window, said: str) -> None:
    assert reasons(at(10, 88, 190), rear, {"front": AT_THE_PLANES["front"], "rear": [window]})[0] == f"rear: {said}"


def test_says_that_there_is_no_window_or_that_windows_stand_at_the_same_place() -> None:
    assert "rear: there is no window to take metal from" in reasons(
        at(10, 88, 190), at(40, 91, 48), {"front": AT_THE_PLANES["front"]}
    )
    one_place = {"front": [Window(0, 360, 88, 100)], "rear": [Window(0, 360, 88, 100)]}
    assert reasons(at(10, 88, 190), at(40, 91, 48), one_place) == [
        "both planes: some of their windows stand at the same place along the crankshaft"
    ]


def test_a_reason_is_worded_the_way_the_reader_counts() -> None:
    windows = {"front": AT_THE_PLANES["front"], "rear": [Window(40, 58, 91, 389, 25.4)]}
    with pytest.raises(NoPlan) as refused:
        planned(at(10, 88, 190), at(40, 91, 48), windows, bits=[Bit(12.7)])
    (reason,) = refused.value.reasons
    worded = reason.worded(lambda angle: f"{360 - angle:g}°", lambda length: f"{length / 25.4:.2f} in")
    assert worded.startswith("one 0.50 in hole would have to go ")
    assert worded.endswith(" in deep at the tip; the limit is 1.00 in")


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (
            {"planes": {"front": ReadingPlane(5, 88), "rear": ReadingPlane(5, 91)}},
            "two reading planes at different",
        ),
        ({"planes": {"front": ReadingPlane(5, 88)}}, "two reading planes"),
        ({"planes": {"front": ReadingPlane(-54, 0), "rear": ReadingPlane(389, 91)}}, "radius of front is 0"),
        ({"unbalance": {"front": 1 + 0j}}, "the planes are front, rear"),
        ({"unbalance": {"front": complex(nan), "rear": 0j}}, "unbalance of front is nan"),
        ({"windows": {"middle": []}}, "'middle' that is not read"),
        ({"windows": {"rear": [Window(10, 10, 91, 389)]}}, "starts where it ends"),
        ({"windows": {"rear": [Window(10, 80, 0, 389)]}}, "rim's radius in a window of rear is 0"),
        ({"windows": {"rear": [Window(10, 80, 91, 389, depth=-1)]}}, "depth limit in a window of rear is -1"),
        ({"windows": {"rear": [Window(10, 80, 91, 389, width=0)]}}, "width in a window of rear is 0"),
        ({"bits": []}, "no bit"),
        ({"bits": [Bit(0)]}, "diameter of a bit is 0"),
        ({"bits": [Bit(12, 190)]}, "not between 0 and 180"),
        ({"density": 0}, "density is 0"),
        ({"plug_density": 7.0}, "no heavier than"),
        ({"leave": 1.0}, "share of 1 to leave"),
        ({"leave": -0.1}, "share of -0.1 to leave"),
        ({"most_holes": 0}, "at most 0 holes"),
        ({"step": 0}, "step of depths is 0"),
        ({"web": -1}, "web of -1 mm"),
    ],
)
def test_refuses_what_does_not_hold_together(wrong: dict[str, object], said: str) -> None:
    asked: dict[str, object] = {
        "unbalance": {"front": at(10, 88, 190), "rear": at(40, 91, 48)},
        "planes": PLANES,
        "windows": WINDOWS,
        "bits": BITS,
        "density": STEEL,
    }
    with pytest.raises(CannotCut, match=said):
        plans(**(asked | wrong))  # type: ignore[arg-type]

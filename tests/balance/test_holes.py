from math import hypot, inf, nan, sqrt

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import dblquad

from buildbook.balance.holes import (
    AxialHole,
    CannotCut,
    DepthTo,
    Plug,
    RadialHole,
    depth_for,
    point_length,
    simple_estimate,
)

POINTS = (60.0, 90.0, 118.0, 135.0, 150.0, 180.0)


def _integrated(hole: RadialHole) -> tuple[float, float]:
    """Weight and unbalance by scipy, in Cartesian coordinates, over the column of metal above each spot of the bit."""
    bore, tip = hole.diameter / 2, hole.radius - hole.tip_depth
    slope = point_length(hole.diameter, hole.point) / bore

    def column(z: float, y: float, power: int) -> float:
        bottom, rim = tip + slope * hypot(y, z), sqrt(hole.radius**2 - y**2)
        return max(rim**power - bottom**power, 0.0) / power

    weight, unbalance = (
        4 * dblquad(column, 0, bore, 0, lambda y: sqrt(max(bore**2 - y**2, 0)), (power,), epsabs=0, epsrel=3e-8)[0]
        for power in (1, 2)
    )
    return hole.density / 1000 * weight, hole.density / 1000 * unbalance


@pytest.mark.parametrize(
    ("radius", "diameter", "depth", "point"),
    [
        pytest.param(90, 22, 19, 118, id="ordinary"),
        pytest.param(88, 12.7, 70, 135, id="deep and thin"),
        pytest.param(91, 25, 4, 180, id="flat end"),
        pytest.param(60, 40, 25, 90, id="wide"),
        pytest.param(50, 95, 38, 175, id="almost as wide as the crankshaft"),
    ],
)
def test_hole_agrees_with_numerical_integration(radius: float, diameter: float, depth: float, point: float) -> None:
    # scipy.integrate.dblquad over the intersection of cone-pointed cylinder and round rim
    hole = RadialHole(radius, diameter, depth, point, density=7.83)
    weight, unbalance = _integrated(hole)
    assert hole.weight == pytest.approx(weight, rel=1e-6)
    assert hole.unbalance == pytest.approx(unbalance, rel=1e-6)


@pytest.mark.parametrize(
    ("diameter", "depth", "point", "depth_to"),
    [
        pytest.param(22, 0.3, 118, "shoulder", id="shoulder out at the sides"),
        pytest.param(22, 0, 118, "shoulder", id="shoulder just touching"),
        pytest.param(22, 3, 118, "tip", id="only part of the point in"),
        pytest.param(22, 0.4, 180, "shoulder", id="flat end that does not reach the sides"),
    ],
)
def test_shallow_hole_agrees_with_numerical_integration(
    diameter: float, depth: float, point: float, depth_to: DepthTo
) -> None:
    # scipy.integrate.dblquad; the edge of the cut inside the bit costs it digits
    hole = RadialHole(90, diameter, depth, point, 7.83, depth_to)
    weight, unbalance = _integrated(hole)
    assert hole.weight == pytest.approx(weight, rel=1e-5)
    assert hole.unbalance == pytest.approx(unbalance, rel=1e-5)


@st.composite
def holes(draw: st.DrawFn) -> RadialHole:
    radius = draw(st.floats(40, 200))
    diameter = draw(st.floats(3, 40))
    point = draw(st.sampled_from(POINTS))
    deepest = radius - point_length(diameter, point)
    assume(deepest > 0)
    return RadialHole(radius, diameter, draw(st.floats(1e-3, 1)) * deepest, point, draw(st.floats(2, 20)))


@given(holes())
def test_what_is_taken_out_stands_below_the_rim_and_weighs_less_than_cylinder_and_cone(
    hole: RadialHole,
) -> None:
    from_a_flat_face = AxialHole(hole.radius, hole.diameter, hole.depth, hole.point, hole.density).weight
    assert hole.weight <= from_a_flat_face * (1 + 1e-9)
    assert hole.unbalance <= hole.weight * hole.radius * (1 + 1e-9)


@given(holes())
def test_hole_measured_to_the_tip_is_the_same_hole(hole: RadialHole) -> None:
    to_tip = RadialHole(hole.radius, hole.diameter, hole.tip_depth, hole.point, hole.density, "tip")
    assert to_tip.full_depth == pytest.approx(hole.depth, abs=1e-9)
    assert to_tip.weight == pytest.approx(hole.weight, rel=1e-6, abs=1e-9)
    assert to_tip.unbalance == pytest.approx(hole.unbalance, rel=1e-6, abs=1e-9)


@given(holes(), st.floats(0.01, 100))
def test_hole_in_other_units_is_the_same_hole(hole: RadialHole, times: float) -> None:
    scaled = RadialHole(hole.radius * times, hole.diameter * times, hole.depth * times, hole.point, hole.density)
    assert scaled.weight == pytest.approx(hole.weight * times**3, rel=1e-6)
    assert scaled.unbalance == pytest.approx(hole.unbalance * times**4, rel=1e-6)


@given(holes())
def test_depth_for_the_unbalance_of_a_hole_is_the_depth_of_that_hole(hole: RadialHole) -> None:
    assume(hole.depth > 0.01)
    found = depth_for(
        hole.unbalance * (1 - 1e-12),
        radius=hole.radius,
        diameter=hole.diameter,
        point=hole.point,
        density=hole.density,
    )
    assert found is not None
    again = RadialHole(hole.radius, hole.diameter, found, hole.point, hole.density)
    assert again.unbalance == pytest.approx(hole.unbalance, rel=1e-7)
    if hole.depth < 0.95 * hole.radius:  # close to the crank axis more depth takes next to nothing more
        assert found == pytest.approx(hole.depth, abs=1e-5)


@given(holes(), st.floats(0.02, 0.98))
def test_deeper_takes_more(hole: RadialHole, share: float) -> None:
    assume(hole.depth > 1)
    shallower = RadialHole(hole.radius, hole.diameter, share * hole.depth, hole.point, hole.density)
    assert shallower.weight < hole.weight
    assert shallower.unbalance < hole.unbalance


def test_no_depth_where_the_limit_the_axis_or_the_point_forbids_it() -> None:
    def depth(grams: float, limit: float = inf) -> float | None:
        return depth_for(grams * 90, radius=90, diameter=22, point=118, density=7.83, limit=limit)

    assert depth(55.1, limit=25.7) == pytest.approx(19.0, abs=0.05)
    assert depth(55.1, limit=25.5) is None  # the point takes 6.6 mm more
    assert depth(1000) is None
    assert depth(5.5) is None  # the point alone takes about 6 g
    assert depth(6.5) == pytest.approx(0.2, abs=0.1)


def test_in_a_wide_rim_a_hole_is_as_from_a_flat_face() -> None:
    radial = RadialHole(1e6, 20, 15, 118, 7.83)
    axial = AxialHole(1e6, 20, 15, 118, 7.83)
    assert radial.weight == pytest.approx(axial.weight, rel=1e-5)
    assert radial.unbalance / radial.radius == pytest.approx(axial.weight, rel=1e-4)


def test_nothing_drilled_is_nothing_gone() -> None:
    hole = RadialHole(90, 22, 0, 180, 7.83)
    assert (hole.weight, hole.unbalance) == (0, 0)


def test_simple_estimate_stands_beside_the_exact_hole() -> None:
    hole = RadialHole(90, 22, 19, 118, 7.83)
    assert hole.simple == simple_estimate(90, 22, 19, 7.83)
    assert hole.simple.unbalance > hole.unbalance
    assert hole.simple.weight < hole.weight


def test_axial_hole_with_only_part_of_its_point_in_is_a_smaller_cone() -> None:
    whole = AxialHole(80, 22, point_length(22, 118), 118, 7.83, "tip")
    part = AxialHole(80, 22, point_length(22, 118) / 2, 118, 7.83, "tip")
    assert whole.volume == pytest.approx(AxialHole(80, 22, 0, 118, 7.83).volume)
    assert part.volume == pytest.approx(whole.volume / 8)


@given(st.floats(5, 30), st.floats(1, 40), st.sampled_from(POINTS))
def test_axial_plug_gains_its_own_weight_less_the_metal_bored_out(diameter: float, length: float, point: float) -> None:
    plug = Plug("axial", 75, diameter, length, 17.5, 7.83, point)
    bored = AxialHole(75, diameter, length, point, 7.83).weight
    assert plug.weight == pytest.approx(AxialHole(75, diameter, length, 180, 17.5).weight - bored)
    assert plug.unbalance == pytest.approx(75 * plug.weight)
    if point < 180:
        assert plug.weight < Plug("axial", 75, diameter, length, 17.5, 7.83, point, fills_point=True).weight


def test_radial_plug_in_a_flat_hole_is_that_hole_in_the_difference_of_densities() -> None:
    plug = Plug("radial", 90, 22, 19, 17.5, 7.5)
    hole = RadialHole(90, 22, 19, 180, 10)
    assert plug.weight == pytest.approx(hole.weight)
    assert plug.unbalance == pytest.approx(hole.unbalance)
    assert plug.simple == pytest.approx(hole.simple)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"radius": 0.0}, "radius is 0"),
        ({"radius": nan}, "radius is nan"),
        ({"diameter": 0.0}, "diameter is 0"),
        ({"diameter": -3.0}, "diameter is -3"),
        ({"depth": -0.1}, "below zero"),
        ({"depth": inf}, "depth is inf"),
        ({"density": 0.0}, "density is 0"),
        ({"point": 0.0}, "not between 0 and 180"),
        ({"point": 181.0}, "not between 0 and 180"),
    ],
)
def test_refuses_a_hole_that_cannot_be_and_says_what_to_do(wrong: dict[str, float], said: str) -> None:
    asked = {"radius": 90.0, "diameter": 22.0, "depth": 19.0, "point": 118.0, "density": 7.83} | wrong
    for shape in (RadialHole, AxialHole):
        with pytest.raises(CannotCut, match=said) as refused:
            shape(asked["radius"], asked["diameter"], asked["depth"], asked["point"], asked["density"])
        assert refused.value.remedy in str(refused.value)


def test_refuses_a_hole_past_the_crank_axis_or_as_wide_as_the_rim() -> None:
    with pytest.raises(CannotCut, match="passes the crank axis"):
        RadialHole(90, 22, 84, 118, 7.83)
    with pytest.raises(CannotCut, match="as wide as the rim"):
        RadialHole(90, 180, 1, 180, 7.83)
    RadialHole(90, 22, 90, 118, 7.83, "tip")


@pytest.mark.parametrize("density", [7.83, 2.7, nan])
def test_refuses_a_plug_no_heavier_than_the_crankshaft(density: float) -> None:
    with pytest.raises(CannotCut, match="no heavier"):
        Plug("axial", 75, 20, 25, density, 7.83)


@pytest.mark.parametrize("point", POINTS)
def test_depth_is_found_where_the_shoulder_just_reaches_the_sides(point: float) -> None:
    for radius in range(40, 200):
        reached = radius - sqrt(radius**2 - 11**2)
        wanted = RadialHole(radius, 22, reached, point, 7.83).unbalance
        found = depth_for(wanted, radius=radius, diameter=22, point=point, density=7.83)
        assert found == pytest.approx(reached, abs=1e-7)

"""Drill points and holes against geometry as tabulated for drill points, and against common practice."""

from math import pi

import pytest

from buildbook.balance.holes import AxialHole, Plug, RadialHole, point_length, simple_estimate

STEEL, DUCTILE_IRON = 7.85, 7.2


@pytest.mark.parametrize(
    ("point", "length", "cone"),
    [
        # geometry; 0.300, 0.207 and 0.500 are also given as rules of thumb for 118, 135 and 90
        (90, 0.500000, 0.130900),
        (118, 0.300430, 0.078652),
        (130, 0.233154, 0.061040),
        (135, 0.207107, 0.054220),
        (140, 0.181985, 0.047644),
    ],
)
def test_point_length_and_cone_volume_of_a_drill_of_unit_diameter(point: float, length: float, cone: float) -> None:
    assert point_length(1, point) == pytest.approx(length, abs=1e-6)
    assert AxialHole(radius=80, diameter=1, depth=0, point=point, density=1).volume == pytest.approx(cone, abs=1e-6)


@pytest.mark.parametrize(
    ("diameter", "point", "length", "within"),
    [
        pytest.param(0.104, 118, 0.03124, 1e-5, id="No. 37 drill"),  # shop practice, in
        pytest.param(13 / 32, 135, 0.0841, 1e-4, id="13/32 in drill"),  # shop practice, in
    ],
)
def test_point_length_in_inches(diameter: float, point: float, length: float, within: float) -> None:
    assert point_length(diameter, point) == pytest.approx(length, abs=within)


def test_depth_at_the_tip_of_a_half_inch_drill_through_a_plate() -> None:
    # shop practice, in: a 1.000 plate and 0.050 to clear it ask for 1.200 at the tip, of which the point is 0.150
    hole = RadialHole(radius=10, diameter=0.5, depth=1.050, point=118, density=STEEL)
    assert hole.tip_depth == pytest.approx(1.200, abs=1e-3)
    assert hole.tip_depth - hole.full_depth == pytest.approx(0.150, abs=1e-3)


@pytest.mark.parametrize(
    ("diameter", "point", "depth", "volume", "steel"),
    [
        # geometry: π/4 D² L + π D³/(24 tan(point/2))
        (12, 118, 25, 2963.34, 23.262),
        (12, 135, 25, 2921.13, 22.931),
        (12.7, 118, 20, 2694.65, 21.153),
    ],
)
def test_volume_and_weight_of_a_hole_from_a_flat_face(
    diameter: float, point: float, depth: float, volume: float, steel: float
) -> None:
    hole = AxialHole(radius=80, diameter=diameter, depth=depth, point=point, density=STEEL)
    assert hole.volume == pytest.approx(volume, rel=1e-5)
    assert hole.weight == pytest.approx(steel, rel=1e-4)
    assert hole.unbalance == pytest.approx(80 * steel, rel=1e-4)


def test_hole_measured_to_the_tip_is_shallower_by_the_point() -> None:
    # geometry: 12 mm, 118°, 25 mm to the tip
    hole = AxialHole(radius=80, diameter=12, depth=25, point=118, density=STEEL, depth_to="tip")
    assert hole.volume == pytest.approx(2555.61, rel=1e-5)
    assert hole.weight == pytest.approx(20.062, rel=1e-4)
    radial = RadialHole(radius=80, diameter=12, depth=25, point=118, density=STEEL, depth_to="tip")
    assert radial.full_depth == pytest.approx(21.3948, abs=1e-4)


def test_ductile_iron_gives_less_than_steel() -> None:
    hole = AxialHole(radius=80, diameter=12, depth=25, point=118, density=DUCTILE_IRON)
    assert hole.weight == pytest.approx(21.336, rel=1e-4)  # geometry


@pytest.mark.parametrize(("heavy_metal", "gain"), [(17.0, 27.115), (18.5, 31.560)])
def test_plug_gains_the_difference_of_densities(heavy_metal: float, gain: float) -> None:
    # geometry: the hole of 12 mm, 118°, 25 mm in steel, filled to the end of its point
    plug = Plug("axial", 80, 12, 25, heavy_metal, STEEL, point=118, fills_point=True)
    assert plug.weight == pytest.approx(gain, rel=1e-4)
    assert plug.unbalance == pytest.approx(80 * gain, rel=1e-4)


def test_22_mm_hole_19_mm_deep_weighs_more_than_it_acts_like() -> None:
    # a 118° point, 19 mm at full diameter, steel of 7.83 g/cm³ and a rim of 90 mm radius reproduce both figures
    hole = RadialHole(radius=90, diameter=22, depth=19, point=118, density=7.83)
    assert hole.weight == pytest.approx(62.6, abs=0.05)
    assert hole.unbalance / hole.radius == pytest.approx(55.1, abs=0.05)


def test_deep_thin_hole_acts_like_little_more_than_half_of_what_it_weighs() -> None:
    # geometry: bored almost to the crank axis, what is taken out stands about halfway, and never further in than that
    hole = RadialHole(radius=90, diameter=6, depth=88, point=118, density=7.83)
    assert hole.unbalance / hole.radius == pytest.approx(0.5 * hole.weight, rel=0.03)


@pytest.mark.parametrize(
    ("bit", "low", "high"),
    [
        # common practice, no source: 86 g with a 1/2 in bit is near 3 1/2 in, with a 15/16 in bit just under 1 in
        pytest.param(1 / 2, 3.375, 3.625, id="1/2 in"),
        pytest.param(15 / 16, 0.9375, 1.0, id="15/16 in"),
    ],
)
def test_depth_for_86_g_by_the_simple_estimate(bit: float, low: float, high: float) -> None:
    weight_per_inch = simple_estimate(radius=90, diameter=bit * 25.4, depth=25.4, density=7.83).weight
    assert low < 86 / weight_per_inch < high
    assert weight_per_inch == pytest.approx(pi / 4 * bit**2 * 7.83 * 16.387064)

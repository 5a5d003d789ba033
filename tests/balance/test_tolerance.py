from math import inf, nan

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from buildbook.balance.tolerance import GRADES, grade_name, grade_value, permissible_total, share
from buildbook.balance.unbalance import BalancingError

positions = st.integers(-2000, 2000).map(float)


@given(st.sampled_from(GRADES))
def test_a_grade_is_known_by_its_name(value: float) -> None:
    assert grade_value(grade_name(value)) == value


@pytest.mark.parametrize("name", ["G15", "16", "", "G", "G16.5", "Gnan", "g16"])
def test_what_is_not_a_grade_is_refused_with_those_that_are(name: str) -> None:
    with pytest.raises(BalancingError, match=r"choose one of G0\.4, G1, G2\.5, G6\.3, G16"):
        grade_value(name)


@given(st.sampled_from(GRADES), st.floats(1, 200), st.floats(100, 20_000))
def test_tolerance_grows_with_mass_and_shrinks_with_speed(grade: float, mass: float, speed: float) -> None:
    total = permissible_total(grade, mass, speed)
    assert permissible_total(grade, 2 * mass, speed) == pytest.approx(2 * total)
    assert permissible_total(grade, mass, 2 * speed) == pytest.approx(total / 2)


@pytest.mark.parametrize("bad", [0, -1, nan, inf])
def test_a_grade_a_mass_or_a_speed_of_nothing_is_refused_by_name(bad: float) -> None:
    for name, arguments in {"grade": (bad, 24.6, 5200), "mass": (16, bad, 5200), "speed": (16, 24.6, bad)}.items():
        with pytest.raises(BalancingError, match=f"a {name} of"):
            permissible_total(*arguments)
    with pytest.raises(BalancingError, match="permissible total"):
        share(bad, 0, 400, 200)


@given(positions, positions, positions, st.floats(1, 1e6))
def test_shares_keep_the_rules_bounds(front: float, rear: float, mass_centre: float, total: float) -> None:
    assume(front != rear)
    shares = share(total, front, rear, mass_centre)
    smaller, larger = sorted((shares.front / total, shares.rear / total))
    assert smaller >= 0.3 - 1e-12
    if min(front, rear) <= mass_centre <= max(front, rear):
        assert shares.rule == "inboard"
        assert smaller + larger == pytest.approx(1)
    else:
        assert shares.rule == "outboard"
        assert larger <= 1.3 + 1e-12
        assert smaller + larger > 1


@given(positions, positions, positions)
def test_swapping_planes_swaps_the_shares(front: float, rear: float, mass_centre: float) -> None:
    assume(front != rear)
    shares, swapped = share(1000, front, rear, mass_centre), share(1000, rear, front, mass_centre)
    assert (swapped.front, swapped.rear, swapped.rule) == (shares.rear, shares.front, shares.rule)


def test_the_plane_nearer_the_centre_of_mass_may_keep_more() -> None:
    shares = share(1000, front=-57, rear=392, mass_centre=168)
    assert (shares.front, shares.rear) == pytest.approx((1000 * 224 / 449, 1000 * 225 / 449))
    shares = share(1000, front=0, rear=100, mass_centre=60)
    assert (shares.front, shares.rear) == pytest.approx((400, 600))


def test_planes_at_the_same_place_share_nothing() -> None:
    with pytest.raises(BalancingError, match="same place"):
        share(1000, 20, 20, 20)

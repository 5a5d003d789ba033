"""Every figure of a build has a name of its own, and a value that is the figure's."""

import pytest
from conftest import SAMPLES

from buildbook.book.reading import Reader
from buildbook.figures import Figures, work_out
from buildbook.figures.named import named_figures


@pytest.fixture(scope="module")
def heron() -> Figures:
    build = Reader(SAMPLES).load("heron-07/2025-06-first").build
    assert build is not None
    return work_out(build)


def test_a_name_is_a_kind_and_its_place(heron: Figures) -> None:
    named = named_figures(heron)
    assert all(name == each.name for name, each in named.items())
    assert {"rod_small_end.R6", "reciprocating_spread", "bobweight_target", "bobweight.1", "residual.front"} <= set(
        named
    )
    assert {"main_clearance.5", "compression_ratio.3", "compression_spread", "top_ring_gap.1"} <= set(named)


def test_each_is_the_figure_that_its_own_command_shows(heron: Figures) -> None:
    named = named_figures(heron)
    pairing, target = heron.pairing, heron.bobweights.target
    assert pairing is not None
    assert target is not None
    assert named["reciprocating_spread"].value == pairing.spread
    assert named["bobweight_target"].value == target.total
    assert named["bobweight_target"].uncertainty == target.uncertainty
    fit = next(each for each in heron.fits.of("main_clearance") if each.place == "5")
    assert (named["main_clearance.5"].value, named["main_clearance.5"].unit) == (fit.value, "mm")
    piece = heron.weighings["piston"].pieces["P7"]
    assert (named["piston.P7"].value, named["piston.P7"].uncertainty) == (piece.weight, piece.uncertainty)


def test_what_the_last_spin_left_is_in_grams_as_the_machine_showed_it(heron: Figures) -> None:
    # the last spin of the sample reads 0.5 g at the front and 0.3 g at the rear
    last = heron.balance.spins[-1].step.spin
    assert last is not None
    for plane in ("front", "rear"):
        shown = last.readings[plane].amount.worth("g")
        assert float(named_figures(heron)[f"residual.{plane}"].value) == pytest.approx(float(shown))


def test_a_build_with_nothing_in_it_has_no_figures() -> None:
    build = Reader(SAMPLES).load("heron-07/2026-10-rebuild").build
    assert build is not None
    empty = build._replace(weighings=(), clearances=(), spins=build.spins._replace(steps=(), bobweights=None))
    assert named_figures(work_out(empty)) == {}

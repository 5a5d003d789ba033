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


def test_a_size_is_the_mean_of_what_was_measured_there_at_20_degrees(heron: Figures) -> None:
    # the front and the rear of journal 5 read 62.181, 62.181 and 62.180, 62.180 at 20.5 °C, of steel as the gauge is
    named = named_figures(heron)
    journal = named["main_journal.5"]
    assert float(journal.value) == pytest.approx(62.1805)
    assert (journal.unit, journal.decimals) == ("mm", 4)
    assert journal.uncertainty == heron.measured["main_journal"]["5"].mean_uncertainty
    # the block is cast iron: 101.8034 mm is a little more than was read
    assert named["cylinder_bore.5"].value == heron.measured["cylinder_bore"]["5"].mean
    assert named["chamber_volume.1"].unit == "cc"
    assert not [name for name in named if name.startswith("valve_to_piston")]  # of other crank angles, other gaps


def test_what_the_last_spin_left_is_in_grams_as_the_machine_showed_it(heron: Figures) -> None:
    # the last spin of the sample reads 0.5 g at the front and 0.3 g at the rear
    last = heron.balance.spins[-1].step.spin
    assert last is not None
    for plane in ("front", "rear"):
        shown = last.readings[plane].amount.worth("g")
        # to the last digit, so that `find` of 0.3 or more finds it
        assert named_figures(heron)[f"residual.{plane}"].value == shown


def test_a_build_with_nothing_in_it_has_no_figures() -> None:
    build = Reader(SAMPLES).load("heron-07/2026-10-rebuild").build
    assert build is not None
    empty = build._replace(weighings=(), clearances=(), spins=build.spins._replace(steps=(), bobweights=None))
    assert named_figures(work_out(empty)) == {}

"""What a session asks for, in which order, and which numbers are asked for again."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import pytest
from conftest import SAMPLES, Book
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings

from buildbook.bench.entry import Event, Judged, Session, Slot, applied
from buildbook.bench.judging import Bench, brought_by
from buildbook.bench.plan import CannotAsk, Plan, known_check_weight, measuring_plan, usual, weighing_plan
from buildbook.bench.record import Entered, fields, is_recorded, with_session
from buildbook.book.reading import Reader
from buildbook.figures import Figures, work_out
from buildbook.records.model import Build


def of_samples(name: str) -> Figures:
    loaded = Reader(SAMPLES).load(name)
    assert loaded.build is not None
    return work_out(loaded.build)


FIRST, REBUILD = of_samples("heron-07/2025-06-first"), of_samples("heron-07/2026-10-rebuild")


def places(plan: Plan) -> list[str]:
    return [place for place, _ in plan.places]


# --- what is asked ---------------------------------------------------------------------------------------------------


def test_pieces_are_asked_in_their_numbered_order_wherever_the_parts_list_has_them() -> None:
    plan = weighing_plan(REBUILD, "rod", (), None)  # R5 stands in a record of its own, after R8
    assert places(plan) == ["R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8"]
    assert plan.again


def test_what_is_left_is_asked_and_what_was_read_stands_beside_it(book: Book) -> None:
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings("id: W1, what: piston, readings: {P1: 480.1}"))
    plan = weighing_plan(book.figures(), "piston", (), None)
    assert (places(plan), plan.fellows, plan.again) == (["P2"], {"P1": Fraction("480.1")}, False)
    named = weighing_plan(book.figures(), "piston", ("P1",), None)
    assert (places(named), named.again) == (["P1"], False)


def test_a_voided_session_has_read_nothing(book: Book) -> None:
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings("id: W1, what: piston, void: draught, readings: {P1: 480.1, P2: 480.2}"))
    assert places(weighing_plan(book.figures(), "piston", (), None)) == ["P1", "P2"]


def test_spares_are_asked_last(book: Book) -> None:
    book.write(
        "parts.yaml", "format: 1\nparts:\n  - {kind: pin, ids: [N1], state: spare}\n  - {kind: pin, ids: [N3, N2]}\n"
    )
    assert places(weighing_plan(book.figures(), "pin", (), None)) == ["N2", "N3", "N1"]


def test_pistons_with_pins_are_asked_as_they_are_paired_or_else_in_order(book: Book) -> None:
    book.write("parts.yaml", PARTS)
    assert places(weighing_plan(book.figures(), "piston_with_pin", (), None)) == ["P1+N1", "P2+N2"]
    book.write("pairings.yaml", pairings("rod: R1, piston: P1, pin: N2", "rod: R2, piston: P2, pin: N1"))
    assert places(weighing_plan(book.figures(), "piston_with_pin", (), None)) == ["P1+N2", "P2+N1"]


def test_small_pieces_without_ids_are_asked_as_a_lot() -> None:
    plan = weighing_plan(REBUILD, "rod_bearing", (), None)
    assert plan.lot == (16, 2, "per_rod")
    assert plan.again
    assert [slot.role for slot in plan.session().asked] == ["nominal", "before", "total", "pieces", "after", "record"]
    assert weighing_plan(REBUILD, "ring_set", (), None).lot is None  # these have ids


def test_how_many_there_are_is_asked_where_the_parts_list_does_not_say(book: Book) -> None:
    lot = weighing_plan(book.figures(), "pin_locks", (), None)
    assert lot.lot == (None, None, "per_cylinder")
    assert not lot.again
    assert [slot.role for slot in lot.session().asked][2:5] == ["total", "pieces", "each"]
    assert lot.session().offers == {}


def test_a_piece_that_is_not_listed_or_a_kind_without_pieces_says_so(book: Book) -> None:
    with pytest.raises(CannotAsk, match=r"parts\.yaml lists no piston"):
        weighing_plan(book.figures(), "piston", (), None)
    with pytest.raises(CannotAsk, match="there is no piston P9: did you mean P"):
        weighing_plan(REBUILD, "piston", ("P9",), None)


def test_places_are_divided_and_read_as_often_as_the_last_time() -> None:
    plan = measuring_plan(REBUILD, "rod_journal", (), FIRST.build)
    assert plan.places == tuple((f"{throw}/{end}", 2) for throw in "1234" for end in ("front", "rear"))
    assert measuring_plan(REBUILD, "crankshaft_end_play", (), FIRST.build).places == (("5", 2),)
    assert measuring_plan(REBUILD, "top_ring_gap", (), FIRST.build).places == tuple((c, 1) for c in "12345678")
    # of this build, before the one it follows
    assert measuring_plan(REBUILD, "cylinder_bore", (), FIRST.build).places[:3] == (
        ("1/top", 2), ("1/middle", 2), ("1/bottom", 2),
    )  # fmt: skip


def test_of_what_is_measured_end_by_end_a_journal_is_read_again_as_a_whole_and_a_gap_only_where_it_was_not() -> None:
    journals = next(each for each in FIRST.build.clearances if each.what == "rod_journal")
    rails = next(each for each in FIRST.build.clearances if each.what == "oil_rail_gap")
    cut = (replace(journals, spots=journals.spots[:3]), replace(rails, spots=rails.spots[:-1]))
    figures = work_out(REBUILD.build._replace(clearances=cut))
    plan = measuring_plan(figures, "rod_journal", (), None)
    assert places(plan) == [f"{throw}/{end}" for throw in "234" for end in ("front", "rear")]
    assert plan.in_part == ("2",)  # and is told, so that nobody wonders
    read = [value.number for value in journals.spots[0].reading.values]
    assert plan.fellows["1/front"] == Fraction(sum(read)) / len(read)
    assert len(set(read)) > 1
    assert places(measuring_plan(figures, "oil_rail_gap", (), None)) == ["8/lower"]


def test_an_end_that_was_not_read_again_with_the_other_is_asked_for() -> None:
    journals = next(each for each in FIRST.build.clearances if each.what == "rod_journal")
    again = replace(journals, id="M90", spots=journals.spots[2:3])
    figures = work_out(REBUILD.build._replace(clearances=(journals, again)))
    plan = measuring_plan(figures, "rod_journal", (), None)
    assert (places(plan), plan.in_part) == (["2/front", "2/rear"], ("2",))


def test_a_kind_that_was_never_measured_is_divided_as_is_usual() -> None:
    def asked(what: str) -> list[tuple[str, int]]:
        build = REBUILD.build._replace(clearances=())
        return list(measuring_plan(work_out(build), what, (), None).places)

    assert asked("main_journal")[:3] == [("1/front", 2), ("1/rear", 2), ("2/front", 2)]
    assert asked("valve_to_piston")[:2] == [("1/intake", 1), ("1/exhaust", 1)]
    assert asked("deck_height") == [("left/front", 1), ("left/rear", 1), ("right/front", 1), ("right/rear", 1)]
    assert asked("piston_skirt") == [(f"P{number}", 1) for number in range(1, 9)]
    assert asked("rod_side") == [(throw, 1) for throw in "1234"]


def test_where_the_records_do_not_say_what_there_is_the_places_are_to_be_named() -> None:
    with pytest.raises(CannotAsk, match="name them, as in: buildbook measure fastener_stretch main_1"):
        measuring_plan(REBUILD, "fastener_stretch", (), None)
    assert measuring_plan(REBUILD, "fastener_stretch", ("R1", "R2"), None).places == (("R1", 1), ("R2", 1))
    one_end = measuring_plan(REBUILD, "main_journal", ("3/front",), FIRST.build)
    assert one_end.places == (("3/front", 2),)


def test_who_and_what_did_it_last_is_offered_and_nothing_that_does_not_reach() -> None:
    pistons = usual(REBUILD.build, FIRST.build, weighing_plan(REBUILD, "piston", (), FIRST.build))
    assert (pistons.person, pistons.instrument) == ("mika", "fine_scale")
    assert pistons.instruments == ("bench_scale", "fine_scale")
    bores = usual(REBUILD.build, FIRST.build, measuring_plan(REBUILD, "cylinder_bore", (), FIRST.build))
    assert bores.instrument == "bore_gauge_100_160"
    assert not {"micrometer_0_25", "bore_gauge_18_35", "feeler_gauge", "balancer", "bench_scale"} & {*bores.instruments}
    unmeasured = measuring_plan(REBUILD, "cylinder_bore", (), None)._replace(expected={})
    assert "micrometer_0_25" not in usual(REBUILD.build, None, unmeasured).instruments  # by the bore in engine.yaml
    assert known_check_weight(REBUILD.build, None, "bench_scale", "g") == "500.0"
    assert known_check_weight(REBUILD.build, None, "bench_scale", "oz") is None


# --- which numbers are doubted ---------------------------------------------------------------------------------------


def bench(figures: Figures, plan: Plan, with_: str, unit: str = "g") -> tuple[Bench, Session]:
    return Bench(figures.build, plan, with_, unit), plan.session("100.00" if with_ == "fine_scale" else "500.0")


def judge(on: tuple[Bench, Session], place: str, *texts: str) -> Judged:
    """What is said of the last of these readings, the ones before it being taken: `P1=507.06` or just a number."""
    judging, session = on
    for text in texts[:-1]:
        own, _, number = text.partition("=")
        slot = Slot("reading", own)
        session = applied(session, Event("put", slot, judging(session, slot, number).text))
    return judging(session, Slot("reading", place), texts[-1])


@pytest.fixture(scope="module")
def pistons() -> tuple[Bench, Session]:
    build = REBUILD.build._replace(weighings=())  # nothing weighed yet; the maker states 507.5
    figures = work_out(build)
    return bench(figures, weighing_plan(figures, "piston", (), FIRST.build), "fine_scale")


def test_a_number_among_its_fellows_is_taken_as_typed(pistons: tuple[Bench, Session]) -> None:
    assert judge(pistons, "P1", "507.06") == Judged("507.06")
    assert judge(pistons, "P2", "P1=507.06", "507.49") == Judged("507.49")


def test_a_number_far_off_is_doubted_from_the_first_piece_on(pistons: tuple[Bench, Session]) -> None:
    assert "far off" in judge(pistons, "P1", "607.06").doubt  # the build before had them about 507
    assert "far off" in judge(pistons, "P2", "P1=507.06", "407.49").doubt


def test_with_four_fellows_the_rules_of_check_find_what_is_closer(pistons: tuple[Bench, Session]) -> None:
    fellows = ["P1=507.06", "P2=507.09", "P3=507.08", "P4=507.06", "P5=507.07"]
    assert "mean of its fellows" in judge(pistons, "P6", *fellows, "509.07").doubt
    assert judge(pistons, "P6", *fellows, "507.10") == Judged("507.10")


def test_a_digit_left_out_is_doubted_and_a_point_left_out_is_set(pistons: tuple[Bench, Session]) -> None:
    assert "fewer digits" in judge(pistons, "P1", "507.1").doubt
    assert judge(pistons, "P1", "50706") == Judged("507.06")
    assert "far off" in judge(pistons, "P1", "5071").doubt


def test_more_than_the_scale_can_carry_is_doubted() -> None:
    figures = work_out(REBUILD.build._replace(weighings=()))
    nothing_known = weighing_plan(figures, "rod", (), None)._replace(expected={})
    rods = bench(figures, nothing_known, "fine_scale")
    assert judge(rods, "R1", "781.10").doubt == "R1: 781.10 is more than fine_scale can carry (600 g)"
    assert judge(rods, "R1", "581.10") == Judged("581.10")


def test_a_second_reading_that_disagrees_with_the_first_is_doubted(pistons: tuple[Bench, Session]) -> None:
    judging, session = pistons
    session = applied(session, Event("put", Slot("reading", "P1"), "507.06"))
    second = Slot("reading", "P1", 2)
    session = applied(session, Event("again", second))
    assert "apart" in judging(session, second, "507.36").doubt
    assert judging(session, second, "507.07") == Judged("507.07")


@pytest.mark.parametrize("typed", ["0", "-507.06", "x", "1e3", "0611", "507.06 mm", "507.06 stone"])
def test_what_is_no_weight_is_refused(pistons: tuple[Bench, Session], typed: str) -> None:
    judged = judge(pistons, "P1", typed)
    assert judged.refused
    assert judged.remedy


def test_a_check_weight_that_is_off_by_more_than_the_scale_can_tell_is_doubted(pistons: tuple[Bench, Session]) -> None:
    judging, session = pistons
    for slot in (Slot("before"), Slot("after")):
        assert judging(session, slot, "100.01") == Judged("100.01")
        assert "off" in judging(session, slot, "100.20").doubt
        assert judging(session, slot, "10001") == Judged("100.01")
        assert judging(session, slot, "507.06").doubt


def test_a_check_weight_is_read_with_every_digit_of_the_scale(pistons: tuple[Bench, Session]) -> None:
    judging, session = pistons
    assert judging(session, Slot("before"), "100").doubt == "100 has fewer digits than fine_scale shows"
    without_its_point = replace(session, read={Slot("nominal"): "500"})  # as it was typed for 5.00
    assert "fewer digits" in judging(without_its_point, Slot("before"), "500").doubt


def test_in_ounces_the_same_piece_is_expected_in_ounces() -> None:
    build = REBUILD.build._replace(weighings=())
    figures = work_out(build)
    judging, session = bench(figures, weighing_plan(figures, "piston", (), None), "fine_scale", "oz")
    assert judging(session, Slot("reading", "P1"), "17.8840") == Judged("17.8840")  # 507.0 g
    assert "far off" in judging(session, Slot("reading", "P1"), "507.06").doubt


def journals() -> tuple[Bench, Session]:
    return bench(REBUILD, measuring_plan(REBUILD, "rod_journal", (), FIRST.build), "micrometer_50_75", "mm")


def test_a_bore_smaller_than_its_journal_is_doubted_while_it_can_be_read_again_and_is_not_refused() -> None:
    """It may be the journal that was misread, and then the bore must be taken as it is."""
    bores = bench(REBUILD, measuring_plan(REBUILD, "main_bore", (), FIRST.build), "bore_gauge_50_100", "mm")
    judged = judge(bores, "1/front", "62.177")  # the journal there has 62.18
    assert "is smaller than main journal 1" in judged.doubt
    assert not judged.refused
    assert judge(bores, "1/front", "62.236") == Judged("62.236")


def test_a_diameter_with_a_digit_wrong_is_doubted_and_one_of_another_engine_refused() -> None:
    assert judge(journals(), "1/front", "53.291") == Judged("53.291")
    assert judge(journals(), "1/front", "53291") == Judged("53.291")
    assert "far off" in judge(journals(), "1/front", "53.921").doubt
    assert judge(journals(), "1/front", "2.0981").refused  # inches, where mm are meant


def test_of_gaps_and_volumes_only_what_is_far_off_is_doubted() -> None:
    gaps = bench(REBUILD, measuring_plan(REBUILD, "top_ring_gap", (), FIRST.build), "feeler_gauge", "mm")
    assert judge(gaps, "1", "0.41") == Judged("0.41")
    assert judge(gaps, "1", "41") == Judged("0.41")
    assert judge(gaps, "1", "0.14").doubt
    decks = bench(REBUILD, measuring_plan(REBUILD, "deck_height", (), FIRST.build), "dial_indicator", "mm")
    assert judge(decks, "left/front", "-0.05").refused == ""  # a piston may stand proud


def test_a_lot_is_expected_to_weigh_what_such_a_lot_weighed_the_last_time() -> None:
    on = bench(REBUILD, weighing_plan(REBUILD, "pin_locks", (), None), "fine_scale")
    judging, session = on
    total = Slot("total")
    assert judging(session, total, "2961") == Judged("29.61")
    assert "far off" in judging(session, total, "92.61").doubt
    nothing_before = Bench(REBUILD.build, on[0].plan._replace(expected={}), "fine_scale", "g")
    assert "fewer digits" in nothing_before(session, total, "296").doubt


@pytest.mark.parametrize("typed", ["0", "2.5", "-2", "x", "1000"])
def test_a_number_of_pieces_is_a_whole_one(pistons: tuple[Bench, Session], typed: str) -> None:
    judging, session = pistons
    assert judging(session, Slot("pieces"), typed).refused
    assert judging(session, Slot("pieces"), "16") == Judged("16")


# --- the record ------------------------------------------------------------------------------------------------------


def test_a_session_is_known_again_as_the_record_that_it_became(book: Book) -> None:
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    figures = book.figures()
    plan = weighing_plan(figures, "piston", (), None)
    same = Entered("g", {"P1": ["480.1"], "P2": ["482.0"]})
    taken = "2026-10-03T09:10+01:00"
    assert is_recorded(figures.build, plan, "ava", "scale", taken, same) == "W3"
    for by, when, entered in (
        ("tomas", taken, same),
        ("ava", "2026-10-03T09:11+01:00", same),
        ("ava", taken, Entered("g", {"P1": ["480.1"], "P2": ["482.00"]})),
        ("ava", taken, Entered("g", {"P1": ["480.1"]})),
    ):
        assert is_recorded(figures.build, plan, by, "scale", when, entered) is None
    lot = weighing_plan(figures, "ring_set", (), None)
    assert is_recorded(figures.build, lot, "ava", "scale", taken, Entered("g", {}, ["110.8"], 2, 1)) == "W5"


def test_what_check_would_find_is_found_before_anything_is_written() -> None:
    plan = weighing_plan(REBUILD, "piston", (), None)
    readings: dict[str, Sequence[str]] = {f"P{number}": ["507.06"] for number in range(1, 9)}
    found = brought_by(REBUILD.build, plan, "fine_scale", Entered("g", {**readings, "P9": ["507.1"], "P3": ["570.06"]}))
    assert {finding.rule for finding in found["P9"]} == {"unlisted", "digits"}
    assert "far-off" in {finding.rule for finding in found["P3"]}
    assert "P1" not in found


def test_what_is_tried_leaves_the_build_as_it_is() -> None:
    plan, before = measuring_plan(REBUILD, "main_bore", (), FIRST.build), REBUILD.build
    entered = Entered("mm", {"1/front": ["62.236", "62.238"], "1/rear": ["62.237"]})
    after: Build = with_session(before, plan, "bore_gauge_50_100", entered)
    assert len(after.clearances) == len(before.clearances) + 1
    assert [(spot.place, spot.along) for spot in after.clearances[-1].spots] == [("1", "front"), ("1", "rear")]
    record = fields(plan, "bore_gauge_50_100", entered)
    assert list(record["readings"]) == ["1"]  # type: ignore[arg-type]

"""What is left to do on a build, in the order of the job, with what each thing waits for."""

import pytest
from conftest import BUILD, SAMPLES, SHOP, Book

from buildbook.balance.layouts import KNOWN
from buildbook.book.reading import Reader
from buildbook.figures import work_out
from buildbook.figures.next import Job, job, last_record
from buildbook.views.show import stages
from figures import measurements
from figures.ledger import ALL_WEIGHED, PARTS, engine, pairings, weighings
from figures.turning import PLANES, STROKE, WINDOWS, WITH_BALANCER, on_the_machine, spin

EQUIPPED = WITH_BALANCER + "  micrometer: {kind: micrometer}\n"
MATCHED = pairings("rod: R1, piston: P2, pin: N1", "rod: R2, piston: P1, pin: N2")


def left(book: Book, called: str | None = None) -> dict[str, tuple[str, ...]]:
    """Name of what is left → what it waits for."""
    return {each.name: each.waits_for for each in job(book.figures(), called).left}


def commands(found: Job) -> dict[str, str]:
    return {each.name: each.command for each in found.left}


def of_sample(name: str) -> Job:
    build = Reader(SAMPLES).load(name).build
    assert build is not None
    return job(work_out(build))


def signed(*stages: str, more: str = "") -> str:
    lines = "".join(
        f"  - {{id: A{number}, stage: {stage}, taken: 2026-10-09, by: ava, figures: {{}}}}\n"
        for number, stage in enumerate(stages, 1)
    )
    return f"{BUILD}sign_offs:\n{lines}{more}"


def test_a_build_just_begun_waits_for_its_parts_and_everything_else_for_what_comes_before(book: Book) -> None:
    book.write("shop.yaml", EQUIPPED)
    todo = left(book)
    assert list(todo)[:3] == ["parts", "weighing: rod big end", "weighing: rod small end"]
    assert todo["parts"] == ()
    assert todo["weighing: piston"] == ("parts",)
    assert todo["match"] == ("weighing: rod small end", "weighing: piston", "weighing: pin", "weighing: ring set")
    assert todo["bobweights"][-1] == "match"
    assert todo["planes"] == ()
    assert todo["spins"] == ("bobweights", "planes")
    assert todo["measuring: rod journal"] == ()  # the engine has its throws; a rod bore is named by a listed rod
    assert todo["measuring: rod bore"] == ("parts",)
    assert list(todo)[-4:] == ["sign-off: measured", "sign-off: matched", "sign-off: balanced", "sign-off: assembled"]
    assert todo["sign-off: assembled"] == ("sign-off: measured", "sign-off: matched", "sign-off: balanced")


@pytest.mark.parametrize("layout", KNOWN)
def test_an_engine_of_any_layout_has_a_way_from_its_parts_to_the_seal(book: Book, layout: str) -> None:
    book.write("shop.yaml", EQUIPPED)
    book.write("engines/twin/engine.yaml", engine(layout))
    names = list(left(book))
    assert (names[0], names[-1]) == ("parts", "sign-off: assembled")


def test_every_name_that_is_waited_for_is_itself_left_to_do_and_stands_before() -> None:
    for name in ("heron-07/2026-10-rebuild", "plover-03/2026-03-first"):
        seen: set[str] = set()
        for each in of_sample(name).left:
            assert set(each.waits_for) <= seen
            seen.add(each.name)


def test_kind_by_kind_what_is_weighed_is_counted_and_what_is_not_is_named(book: Book) -> None:
    book.write("parts.yaml", PARTS)
    half = [each.replace("P1: 480.1, P2: 482.0", "P1: 480.1") for each in ALL_WEIGHED if "rod_bearing" not in each]
    book.write("weighings.yaml", weighings(*half))
    found = job(book.figures())
    weighing = [each for each in found.left if each.name.startswith("weighing")]
    assert [(each.what, each.command) for each in weighing] == [
        ("weigh: piston, 1 of 2 left", "buildbook weigh piston --build twin/first"),
        ("weigh: rod bearing", "buildbook weigh rod_bearing --build twin/first"),
    ]
    done = {stage.name: stage.done for stage in found.stages}
    assert (done["parts"], done["weighings"]) == (1, 4)
    assert left(book)["match"] == ("weighing: piston",)  # a bearing is the same for every cylinder
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    assert left(book)["match"] == ()


def test_matching_is_done_once_decided_and_again_once_it_no_longer_holds(book: Book) -> None:
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    assert commands(job(book.figures()))["match"] == "buildbook match twin/first --write"
    book.write("pairings.yaml", MATCHED)
    assert "match" not in left(book)
    book.write("build.yaml", BUILD.replace("reciprocating_spread: {max: 1.0}", "reciprocating_spread: {max: 0.5}"))
    (match,) = [each for each in job(book.figures()).left if each.name == "match"]
    assert match.what == "match again, or grind: spread 0.70 g, limit 0.50 g"
    again = weighings(*ALL_WEIGHED, "id: W9, taken: 2026-10-05, what: pin, readings: {N1: 153.3}")
    book.write("weighings.yaml", again)
    book.write("build.yaml", BUILD.replace("reciprocating_spread: {max: 1.0}", "reciprocating_spread: {max: 9.0}"))
    (match,) = [each for each in job(book.figures()).left if each.name == "match"]
    assert "cylinder 1 is no longer as it was decided" in match.what


def test_the_crankshaft_is_spun_until_the_verdict_is_to_stop(book: Book) -> None:
    on_the_machine(book)
    assert commands(job(book.figures()))["spins"].startswith("buildbook spin twin/first --front")
    on_the_machine(book, spin("9.2@212", "14.0@48"))
    assert commands(job(book.figures()))["spins"] == "buildbook plan twin/first"
    on_the_machine(book, spin("9.2@212", "14.0@48"), "grind: {plane: rear, angle: 48}")
    (again,) = [each for each in job(book.figures()).left if each.name == "spins"]
    assert (again.what, again.command.split()[1]) == ("spin the crankshaft again: it was changed since", "spin")
    on_the_machine(book, spin("0.05@212", "0.05@48"))
    assert "spins" not in left(book)
    on_the_machine(book, spin("9.2@212", "14.0@48"))
    book.write("build.yaml", signed("balanced"))  # somebody answered for it
    assert not {"spins", "bobweights", "sign-off: matched", "sign-off: balanced"} & set(left(book))


@pytest.mark.parametrize(
    ("choices", "limit", "asked", "offered"),
    [
        ("", "residual: {front: 1.0, rear: 1.0}, ", False, False),  # within those, 'plan' would leave it alone
        (", grade: G16, max_speed: 600 rpm", "", False, True),
        ("", "residual: {rear: 1.0}, ", True, False),
    ],
)
def test_within_every_limit_another_hole_is_offered_at_most(
    book: Book, choices: str, limit: str, asked: bool, offered: bool
) -> None:
    on_the_machine(book, spin("0.8@212", "0.9@48"))
    book.write("parts.yaml", f"{PARTS}  - {{kind: crankshaft, ids: [C1], mass: 20 kg}}\n")
    book.write("build.yaml", BUILD.replace("oil: 3.0", f"oil: 3.0{choices}").replace("limits: {", f"limits: {{{limit}"))
    assert ("spins" in left(book)) is asked
    assert ("within the limit; to try for less" in {each.what for each in job(book.figures()).besides}) is offered


def test_a_bobweight_off_its_limit_is_to_be_set_again(book: Book) -> None:
    on_the_machine(book, spin("0.05@212", "0.05@48"))
    assert "bobweights" not in left(book)
    book.write("spins.yaml", (book.folder / "spins.yaml").read_text().replace("set: {1: 1775.6}", "set: {1: 1777.9}"))
    (setting,) = [each for each in job(book.figures()).left if each.name == "bobweights"]
    assert setting.what == "set the bobweights again: throw 1; then write them in spins.yaml"
    assert setting.command == "buildbook bobweight twin/first"  # --set refuses where a record stands
    book.write("spins.yaml", (book.folder / "spins.yaml").read_text().partition("bobweights:")[0])
    (setting,) = [each for each in job(book.figures()).left if each.name == "bobweights"]
    assert setting.command == "buildbook bobweight twin/first --set 1=G --with scale"


def test_a_crankshaft_that_wants_no_bobweight_is_not_asked_for_one() -> None:
    names = [each.name for each in of_sample("dunlin-21/2026-05-first").left]
    assert names == ["sign-off: measured", "sign-off: assembled"]


def test_what_a_limit_or_a_fit_asks_for_is_to_be_measured_and_by_which_place(book: Book) -> None:
    measurements.write(
        book,
        "what: cylinder_bore, readings: {1: 101.81, 2: 101.80}",
        "what: piston_skirt, readings: {P1: 101.73}",
        "with: feeler, what: top_ring_gap, readings: {1: 0.41, 2: 0.50}",
        limits="second_ring_gap: {min: 0.5}, top_ring_gap: {min: 0.46}",
        paired=measurements.PAIRED,
    )
    found = {each.name: each for each in job(book.figures()).left}
    assert found["measuring: piston skirt"].what == "measure: piston skirt, 1"  # whose piston is P2
    assert found["measuring: second ring gap"].command == "buildbook measure second_ring_gap --build twin/first"
    assert "measuring: main bore" in found  # no engine is measured without
    assert "measuring: oil rail gap" not in found
    filing = found["filing: top ring"]
    assert filing.what == "file the gap: top ring, cylinder 1; then measure it again"
    assert filing.command == "buildbook fits twin/first --kind top_ring_gap"
    besides = {each.what: each.command for each in job(book.figures(), "").besides}
    assert besides["once the top ring is filed"] == "buildbook measure top_ring_gap"
    assert set(found["sign-off: measured"].waits_for) >= {"filing: top ring", "measuring: piston skirt"}


def test_a_fit_outside_its_limit_or_untold_is_to_be_decided_until_it_is_signed_for(book: Book) -> None:
    sessions = (
        "what: main_journal, readings: {1: 62.180, 2: 62.180}",
        "what: main_bore, readings: {1: 62.250, 2: 62.2301}",
    )
    limits = "main_clearance: {min: 0.05, max: 0.06}"
    measurements.write(book, *sessions, limits=limits, sizes="bore: 101.8, main_bearings: 2")
    (deciding,) = [each for each in job(book.figures()).left if each.name == "main bearing clearance"]
    assert deciding.what == "decide: main bearing clearance, 1 outside; 2 cannot tell"
    assert "buildbook sign measured twin/first" in {each.command for each in job(book.figures()).besides}
    signing = "sign_offs: [{id: A1, stage: measured, taken: 2026-10-09, by: ava, figures: {}}]\n"
    measurements.write(book, *sessions, limits=limits, sizes="bore: 101.8, main_bearings: 2", more=signing)
    assert "main bearing clearance" not in left(book)


def test_what_the_shop_has_no_instrument_for_waits_until_it_is_named(book: Book) -> None:
    first = job(book.figures()).left[0]
    assert (first.name, first.what) == ("instruments", "name in shop.yaml: gauges, a balancing machine")
    waiting = {name for name, waits in left(book).items() if "instruments" in waits}
    assert {"measuring: main bore", "spins"} <= waiting
    assert not {"weighing: piston", "bobweights", "match"} & waiting  # the fixture's shop has a scale
    book.write("shop.yaml", SHOP.partition("instruments")[0])
    assert {"weighing: piston", "bobweights"} <= {name for name, waits in left(book).items() if "instruments" in waits}
    book.write("shop.yaml", EQUIPPED)
    assert "instruments" not in left(book)


def test_an_instrument_is_named_in_a_command_that_wants_it_and_not_where_it_is_asked_for(book: Book) -> None:
    book.write("shop.yaml", EQUIPPED)
    one = commands(job(book.figures(), ""))
    assert one["weighing: piston"] == "buildbook weigh piston"
    assert one["measuring: main bore"] == "buildbook measure main_bore"
    assert one["spins"].endswith("--rear G@DEG")
    more = "  fine: {kind: scale}\n  feeler: {kind: feeler_gauge}\n  other_balancer: {kind: balancing_machine}\n"
    book.write("shop.yaml", EQUIPPED + more)
    several = commands(job(book.figures(), ""))
    assert several["weighing: piston"] == "buildbook weigh piston"
    assert several["measuring: main bore"] == "buildbook measure main_bore"
    assert several["spins"].endswith("--rear G@DEG --with MACHINE")
    assert several["bobweights"].endswith("--with SCALE")


def test_a_correction_waits_for_where_metal_may_be_taken_and_says_what_follows_it(book: Book) -> None:
    on_the_machine(book, spin("9.2@212", "14.0@48"))
    assert left(book)["spins"] == ("windows",)
    correcting = {each.what: each.command for each in job(book.figures(), "").besides}
    assert correcting["once it is drilled"].startswith("buildbook correct drill PLANE@DEG")
    spins = book.folder / "spins.yaml"
    spins.write_text(spins.read_text().replace(PLANES, WINDOWS % (("0", "90") * 2)))
    assert "windows" not in left(book)
    assert left(book)["spins"] == ()


def test_beside_the_duties_stands_what_helps_at_that_point_of_the_job(book: Book) -> None:
    assert [each.what for each in job(book.figures()).besides] == [
        "not in engine.yaml: bore, rod_length, stroke"  # of one throw, nothing says how far apart
    ]
    book.write("build.yaml", BUILD.replace("oil: 3.0", "oil: 3.0, grade: G16"))
    graded = [each.what for each in job(book.figures()).besides]
    assert "grade G16 needs: max_speed (build.yaml), crankshaft mass (parts.yaml)" in graded
    on_the_machine(book)
    uncounted = (book.folder / "spins.yaml").read_text().replace("angles: {}\n", "")
    book.write("spins.yaml", uncounted)
    assumed = "no angles in spins.yaml: heavy side, with rotation is assumed"
    assert assumed in [each.what for each in job(book.figures()).besides]
    book.write("spins.yaml", f"{uncounted}angles: {{zero: throw 1 up, reading: light_side}}\n")
    assert assumed not in [each.what for each in job(book.figures()).besides]
    book.write("engines/twin/engine.yaml", STROKE + "bore_spacing: 100\n")
    assert "buildbook place twin/first" not in {each.command for each in job(book.figures()).besides}
    book.write("pairings.yaml", MATCHED)
    assert "buildbook place twin/first" in {each.command for each in job(book.figures()).besides}
    rebuild = {each.command for each in of_sample("heron-07/2026-10-rebuild").besides}
    assert "buildbook match heron-07/2026-10-rebuild --with-bores" in rebuild  # all bores and pistons are measured
    plover = {each.command for each in of_sample("plover-03/2026-03-first").besides}
    assert {
        "buildbook map plover-03/2026-03-first",
        "buildbook labels plover-03/2026-03-first",
    } <= plover
    (sheet,) = of_sample("heron-07/2025-06-first").besides
    assert sheet.command == "buildbook sheet heron-07/2025-06-first --for customer"


@pytest.mark.parametrize(
    ("layout", "shown"),
    [("single", True), ("v2_90_common_pin", False), ("v2_45_common_pin", True), ("v6_90_split_pin_30", True),
     ("v8_90_cross_plane", False)],
)  # fmt: skip
def test_where_every_factor_is_a_compromise_it_is_shown_before_the_bobweights(
    book: Book, layout: str, shown: bool
) -> None:
    book.write("engines/twin/engine.yaml", engine(layout))
    commands = {each.command for each in job(book.figures()).besides}
    assert ("buildbook factor twin/first" in commands) is shown


def test_every_sign_off_waits_for_what_is_to_be_kept_first(book: Book) -> None:
    found = {each.name: each.waits_for for each in job(book.figures()).kept_first("buildbook keep").left}
    assert found["keep"] == ()
    assert {name for name, waits in found.items() if "keep" in waits} == {
        f"sign-off: {stage}" for stage in ("measured", "matched", "balanced", "assembled")
    }


def test_a_sealed_build_has_nothing_left_and_one_opened_again_has(book: Book) -> None:
    book.write("build.yaml", signed("assembled"))
    assert job(book.figures()).left == ()
    assert job(book.figures()).sealed
    reopened = "reopened: [{id: O1, sign_off: A1, taken: 2026-10-10, by: ava, because: a tapped lifter}]\n"
    book.write("build.yaml", signed("assembled", more=reopened))
    assert "sign-off: assembled" in left(book)
    assert of_sample("heron-07/2025-06-first").left == ()


def test_errors_come_before_all_else_and_a_missing_layout_ends_the_list(book: Book) -> None:
    book.write("weighings.yaml", weighings("id: W1, by: nobody, what: piston, readings: {P1: 480.1}"))
    book.write("engines/twin/engine.yaml", "format: 1\nengine: twin\n")
    found = job(book.figures()).left
    assert found[0].name == "errors"
    assert found[0].command == "buildbook check twin/first"
    assert found[-1].name == "layout"


def test_commands_call_the_build_as_they_are_told_to(book: Book) -> None:
    alone = commands(job(book.figures(), ""))
    assert alone["weighing: piston"] == "buildbook weigh piston"
    assert alone["match"] == "buildbook match --write"
    assert alone["sign-off: measured"] == "buildbook sign measured"
    assert alone["parts"] == "buildbook check twin/first"  # alone it would mean the whole book
    short = commands(job(book.figures(), "twin"))
    assert short["weighing: piston"] == "buildbook weigh piston --build twin"
    assert short["sign-off: measured"] == "buildbook sign measured twin"


def test_show_calls_done_what_has_nothing_left() -> None:
    for name in ("heron-07/2026-10-rebuild", "heron-07/2025-06-first", "plover-03/2026-03-first"):
        build = Reader(SAMPLES).load(name).build
        assert build is not None
        figures = work_out(build)
        nothing_left = {stage.name: not stage.left for stage in job(figures).stages}
        assert {stage: done is True for stage, done, _ in stages(figures)} == nothing_left


def test_the_day_of_the_last_record_is_that_of_any_record_or_else_of_the_opening(book: Book) -> None:
    assert str(last_record(book.figures().build)) == "2026-10-01"
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    assert str(last_record(book.figures().build)) == "2026-10-03"
    book.write("build.yaml", signed("matched"))
    assert str(last_record(book.figures().build)) == "2026-10-09"

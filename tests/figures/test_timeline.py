"""The life of a build: what the records tell, in the order of time, and what the commits add."""

from collections.abc import Sequence
from datetime import date, datetime, timezone
from datetime import timedelta as time

import pytest
from conftest import Book

from buildbook.figures.timeline import (
    NOT_KNOWN,
    Event,
    Kept,
    Known,
    by_day,
    came_later,
    hand_edits,
    in_order,
    life,
    since,
    uncertain,
)
from buildbook.records.model import Build
from figures.ledger import PARTS, weighings
from figures.measurements import clearances
from figures.turning import on_the_machine, spin

PAIRED = """\
format: 1
decided: {taken: 2026-10-04T08:00+01:00, by: ava, how: match}
cylinders: {1: {rod: R1, piston: P2, pin: N1}, 2: {rod: R2, piston: P1, pin: N2}}
revised:
  - id: D2
    decided: {taken: 2026-10-07, by: tomas, how: by_hand}
    because: P2 was scored
    cylinders: {1: {rod: R1, piston: P1, pin: N1}, 2: {rod: R2, piston: P2, pin: N2}}
"""

SIGNED = """\
format: 1
engine: twin
build: first
opened: 2026-10-01
purpose: Rebuild at 900 hours
sign_offs: [{id: A1, stage: balanced, taken: 2026-10-08T16:00+01:00, by: ava}]
reopened: [{id: O1, sign_off: A1, because: the damper was changed, taken: 2026-10-09, by: nobody_here}]
"""


@pytest.fixture
def whole(book: Book) -> Build:
    """A build with something of every kind, its sessions not in the order of time."""
    on_the_machine(
        book,
        spin("20.0@30", "62.0@150"),
        "drill: {plane: rear, angle: 150, diameter: 16, depth: 9, point: 118}",
        "drill: {plane: front, angle: 30, diameter: 8, depth: 9, point: 118}",
        spin("0.5@30", "0.6@150"),
    )
    book.write("build.yaml", SIGNED)
    book.write("pairings.yaml", PAIRED)
    book.write(
        "weighings.yaml",
        weighings(
            "id: W1, taken: 2026-10-03T11:00+01:00, what: piston, readings: {P1: 480.1}",
            "id: W2, taken: 2026-10-03T09:00+01:00, by: tomas, what: rod, readings: {R1: 600.0}",
            "id: W3, taken: 2026-10-03, what: pin, void: wrong pan, readings: {N1: 1.0}",
            "id: W4, taken: 2026-10-02, what: pin, readings: {N1: 152.3}",
        ),
    )
    book.write("clearances.yaml", clearances("with: scale, taken: 2026-10-05, what: rod_side, readings: {R1: 0.3}"))
    return book.figures().build


def told(events: Sequence[Event]) -> list[str]:
    """Each event as `10-03 W2 weighed: whole rod · Tomas Reddick`."""
    return [
        f"{event.when.text[5:10] if event.when else '-'} {event.record or '-'} {event.what}: {event.of} · {event.who}"
        for event in events
    ]


def test_a_life_is_told_in_the_order_of_time_with_who_did_what(whole: Build) -> None:
    assert told(life(whole, [])) == [
        "10-01 - opened: Rebuild at 900 hours · None",
        "10-02 W4 weighed: pin · Ava Merrow",
        "10-03 W2 weighed: whole rod · Tomas Reddick",
        # W3 says only its day: it stays where it is in its file, after W2
        "10-03 W3 weighed: pin · Ava Merrow",
        "10-03 W1 weighed: piston · Ava Merrow",
        "10-04 - matched:  · Ava Merrow",
        "10-05 M1 measured: rod side clearance · Ava Merrow",
        "10-05 - bobweights set: 1: 1775.6 g · Ava Merrow",
        "10-06 S1 spun: front 20.0 g @ 30, rear 62.0 g @ 150 · Ava Merrow",
        "10-06 S2 drilled: rear @ 150 · Ava Merrow",
        "10-06 S3 drilled: front @ 30 · Ava Merrow",
        "10-06 S4 spun: front 0.5 g @ 30, rear 0.6 g @ 150 · Ava Merrow",
        "10-07 D2 matched again: because P2 was scored · Tomas Reddick",
        "10-08 A1 signed: balanced · Ava Merrow",
        "10-09 O1 reopened: A1, because the damper was changed · nobody_here",
        "- - parts listed: rod, piston, pin · None",
    ]


def test_like_things_of_one_day_stand_on_one_line_and_void_ones_alone(whole: Build) -> None:
    days = by_day(life(whole, []))
    assert [(each.what, each.of, each.who, each.void) for each in days[date(2026, 10, 3)]] == [
        ("weighed", ("whole rod", "piston"), ("Tomas Reddick", "Ava Merrow"), None),
        ("weighed", ("pin",), ("Ava Merrow",), "wrong pan"),
    ]
    assert [(each.what, len(each.events)) for each in days[date(2026, 10, 6)]] == [("spun", 2), ("drilled", 2)]
    assert list(days)[-1] is None


@pytest.mark.parametrize(
    ("day", "first"), [("2026-10-05", "measured"), ("2026-10", "opened"), ("2027", None), ("2026-10-09", "reopened")]
)
def test_what_was_before_a_day_a_month_or_a_year_can_be_left_out(whole: Build, day: str, first: str | None) -> None:
    left = since(life(whole, []), day)
    assert (left[0].what if left else None) == first
    assert all(event.day is not None for event in left)


LONDON = timezone(time(hours=1))


def kept(day: int, how: str, files: str, records: str = "", month: int = 10) -> Kept:
    when = datetime(2026, month, day, 18, 0, tzinfo=LONDON)
    sha = f"{month:02}{day:02}{how}"
    return Kept(sha, when, "Mika Dunnow", "as said", how, tuple(records.split()), tuple(files.split()))  # type: ignore[arg-type]


def lived(build: Build, oldest_first: Sequence[Kept], brought: Known = NOT_KNOWN) -> list[Event]:
    return life(build, oldest_first[::-1], brought)


def came(build: Build, commits: Sequence[Kept]) -> dict[str, tuple[str, str | None]]:
    """Record → how it came into the book, and the commit that brought it where that was late."""
    return {
        event.record: (event.how, event.late.sha if event.late else None)
        for event in lived(build, commits)
        if event.record is not None
    }


def test_the_commit_that_names_a_record_brought_it_and_more_than_a_day_is_late(whole: Build) -> None:
    commits = [
        kept(1, "opened", "build weighings spins"),
        kept(4, "command", "weighings", "W1"),
        kept(5, "command", "weighings", "W2"),
        kept(9, "hand", "weighings"),
    ]
    how = came(whole, commits)
    assert how["W1"] == ("record", None)  # on the 3rd, and in the book on the 4th
    assert how["W2"] == ("record", "1005command")
    assert how["W4"] == ("hand", "1009hand")  # the only edit that can have brought it
    assert how["S1"] == ("file", None)  # no commit that can have


def test_records_without_an_id_are_brought_by_the_commands_that_make_them(whole: Build) -> None:
    commits = [
        kept(1, "opened", "build pairings spins"),
        kept(8, "command", "pairings", "D1"),
        kept(20, "command", "pairings", "D2"),
        kept(5, "command", "spins", "bobweights"),
    ]
    late = {event.what: event.late.sha if event.late else None for event in lived(whole, commits)}
    assert (late["matched"], late["matched again"], late["bobweights set"]) == ("1008command", "1020command", None)


def test_where_several_edits_may_have_brought_a_record_none_is_named(whole: Build) -> None:
    commits = [kept(9, "hand", "weighings"), kept(12, "hand", "weighings")]
    assert came(whole, commits)["W4"] == ("file", None)
    assert uncertain(whole, commits[::-1]) == [("weighings", name) for name in ("W1", "W2", "W3", "W4")]
    known: Known = {("weighings", "W4"): commits[1]}
    (event,) = [each for each in lived(whole, commits, known) if each.record == "W4"]
    assert (event.how, event.late) == ("hand", commits[1])


def test_a_book_begun_with_records_in_it_brought_them_and_later_edits_did_not(whole: Build) -> None:
    commits = [kept(20, "begun", "build parts weighings spins"), kept(25, "command", "spins", "S9")]
    how = came(whole, commits)
    assert how["W4"] == ("record", "1020begun")
    ((commit, events),) = came_later(lived(whole, commits))
    assert commit.sha == "1020begun"
    assert {event.record or event.what for event in events} >= {"W1", "S1", "A1", "bobweights set"}
    assert "opened" not in {event.what for event in events}


def test_edits_that_all_came_in_time_leave_nothing_to_look_into(whole: Build) -> None:
    in_time = [kept(3, "hand", "weighings"), kept(3, "hand", "weighings"), kept(5, "command", "weighings", "W9")]
    assert ("weighings", "W1") not in uncertain(whole, in_time)
    assert uncertain(whole, [kept(20, "hand", "weighings"), kept(21, "command", "weighings", "W9")]) == []


def test_a_commit_of_the_night_after_is_not_late(whole: Build) -> None:
    assert came(whole, [kept(4, "hand", "weighings")])["W1"] == ("hand", None)


def test_hand_edits_and_voidings_are_events_of_their_own(whole: Build) -> None:
    edit = kept(10, "hand", "weighings parts")
    events = life(whole, [edit, kept(11, "command", "spins", "S4")], voided={("weighings", "W3"): edit})
    by_git = [event for event in events if event.commit]
    assert told(by_git) == [
        "10-10 W3 called void: W3 pin · Mika Dunnow",
        "10-10 - edited by hand: weighings, parts: as said · Mika Dunnow",
    ]


def test_within_one_minute_what_came_into_the_book_first_stands_first(whole: Build) -> None:
    signed, minute = kept(8, "command", "build", "A1"), datetime.fromisoformat("2026-10-08T16:00:00+01:00")
    edit = kept(8, "hand", "weighings")
    for seconds, order in ((20, ["edited by hand", "signed"]), (50, ["signed", "edited by hand"])):
        commits = [edit._replace(when=minute + time(seconds=seconds)), signed._replace(when=minute + time(seconds=40))]
        assert [each.what for each in life(whole, commits) if each.what in order] == order


def test_the_parts_list_has_the_day_of_its_first_edit(whole: Build) -> None:
    commits = [kept(1, "opened", "build parts"), kept(2, "hand", "parts"), kept(9, "hand", "parts")]
    (listed,) = [event for event in lived(whole, commits) if event.what == "parts listed"]
    assert (listed.day, listed.how) == (date(2026, 10, 2), "hand")


SIGNED_TWICE = """\
format: 1
engine: twin
build: first
sign_offs:
  - {id: A1, stage: assembled, taken: DAY, by: ava}
  - {id: A2, stage: assembled, taken: DAY, by: ava}
reopened:
  - {id: O1, sign_off: A1, because: the damper, taken: DAY, by: tomas}
  - {id: O2, sign_off: A2, because: the gasket, taken: DAY, by: tomas}
"""


@pytest.mark.parametrize("days", ["2026-10-08", "2026-10-08T16:00+01:00"])
def test_what_was_signed_and_opened_again_on_one_day_stays_in_its_order(book: Book, days: str) -> None:
    book.write("build.yaml", SIGNED_TWICE.replace("DAY", days))
    (day,) = by_day(life(book.figures().build, [])).values()
    assert [(each.what, each.of) for each in day] == [
        ("signed", ("assembled",)),
        ("reopened", ("A1, because the damper",)),
        ("signed", ("assembled",)),
        ("reopened", ("A2, because the gasket",)),
    ]


def test_a_merge_is_told_and_brings_no_record_itself(whole: Build) -> None:
    edit, merge = kept(9, "hand", "weighings"), kept(20, "merged", "weighings parts")
    events = lived(whole, [edit, merge])
    assert told([event for event in events if event.commit == merge.sha]) == [
        "10-20 - brought together: weighings, parts: as said · Mika Dunnow"
    ]
    assert came(whole, [edit, merge])["W4"] == ("hand", edit.sha)
    assert came(whole, [merge])["W4"] == ("file", None)


def test_nothing_happened_to_an_empty_build(book: Book) -> None:
    book.write("build.yaml", "format: 1\nengine: twin\nbuild: first\n")
    assert life(book.figures().build, []) == []
    assert hand_edits([]) == []
    assert in_order([]) == []


def test_a_step_that_says_nothing_of_what_was_done_is_told_all_the_same(book: Book) -> None:
    on_the_machine(book, "note: looked at it", "fit: {part: R1}", "index: {part: R1, angle: 180}", "remove: {step: S2}")
    book.write("parts.yaml", PARTS)
    steps = [event for event in life(book.figures().build, []) if event.file == "spins" and event.record]
    assert [(event.what, event.of) for event in steps] == [
        ("did", ""),
        ("fitted", "R1"),
        ("turned", "R1 @ 180"),
        ("removed", "S2"),
    ]

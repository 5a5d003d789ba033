"""A session of entering: what each line typed comes to, and that no reading that was taken is ever lost."""

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.bench.entry import Event, Judged, Session, Slot, answer, applied

P1, P2, P3 = (Slot("reading", name) for name in ("P1", "P2", "P3"))
NOMINAL, BEFORE, AFTER, RECORD = (Slot(role) for role in ("nominal", "before", "after", "record"))
PISTONS = (NOMINAL, BEFORE, P1, P2, P3, AFTER, RECORD)


def takes_all(session: Session, slot: Slot, text: str) -> Judged:
    return Judged(text)


def doubts_nines(session: Session, slot: Slot, text: str) -> Judged:
    """As a scale would: what begins with a nine is far off, and what is no number is none."""
    if not text.replace(".", "").isdecimal():
        return Judged(text, refused="no number", remedy="type one")
    return Judged(text, doubt="far off" if text.startswith("9") else "")


def typed(session: Session, *lines: str) -> Session:
    """The session after these lines, as the loop at the terminal has it."""
    doubted = None
    for line in lines:
        said = answer(session, line, doubts_nines, doubted)
        doubted = said.doubted
        for event in said.events:
            session = applied(session, event)
    return session


def weighing(nominal: str | None = None) -> Session:
    return Session(PISTONS, {} if nominal is None else {NOMINAL: nominal})


def test_a_number_and_enter_is_all_that_a_session_takes() -> None:
    session = typed(weighing("500.0"), "500.0", "507.1", "507.2", "507.3", "500.1")
    assert session.now is None
    assert session.readings() == {"P1": ["507.1"], "P2": ["507.2"], "P3": ["507.3"]}
    assert (session.of("before"), session.of("after")) == ("500.0", "500.1")


def test_without_a_check_weight_enter_goes_past_it_and_ends_the_session() -> None:
    session = typed(weighing("500.0"), "", "507.1", "507.2", "507.3")
    assert session.now == RECORD
    assert typed(session, "").now is None
    unknown = typed(weighing(), "")
    assert unknown.now == P1  # nor is it asked what a weight reads that is not there
    assert typed(unknown, "1", "2", "3", "").now is None


def test_the_last_check_weight_may_be_left_out_and_that_ends_the_session() -> None:
    session = typed(weighing("500.0"), "500.0", "507.1", "507.2", "507.3", "")
    assert session.now is None
    assert session.of("after") is None


def test_back_one_and_a_new_number_takes_the_place_of_the_old() -> None:
    session = typed(weighing("500.0"), "", "507.1", "507.2", "-", "507.9")
    assert session.now == P3
    assert session.readings() == {"P1": ["507.1"], "P2": ["507.9"]}


def test_back_and_enter_leaves_what_was_read_and_goes_on_where_it_was() -> None:
    session = typed(weighing("500.0"), "", "507.1", "507.2", "-", "-", "")
    assert session.now == P3
    assert session.readings() == {"P1": ["507.1"], "P2": ["507.2"]}


def test_a_known_check_weight_can_be_gone_back_to_and_changed() -> None:
    session = typed(weighing("500.0"), "-", "200.0", "200.1")
    assert session.now == P1
    assert (session.of("nominal"), session.of("before")) == ("200.0", "200.1")


def test_before_the_first_there_is_nothing_to_go_back_to() -> None:
    said = answer(weighing(), "-", takes_all)
    assert (said.events, said.what) == ((), "this is the first")


def test_a_skipped_piece_is_left_out_and_can_be_read_after_all() -> None:
    session = typed(weighing(), "", "*", "507.2")
    assert session.now == P3
    assert session.readings() == {"P2": ["507.2"]}
    assert typed(session, "-", "-", "507.1").readings() == {"P1": ["507.1"], "P2": ["507.2"]}
    assert typed(session, "-", "-", "").now == P3  # or stay left out


def test_a_star_never_takes_a_reading_away() -> None:
    session = typed(weighing(), "", "507.1", "-", "*")
    assert session.readings() == {"P1": ["507.1"]}


def test_two_stars_end_the_session_with_what_was_read() -> None:
    session = typed(weighing("500.0"), "500.0", "507.1", "**")
    assert session.now == AFTER
    session = typed(session, "500.0")
    assert session.now is None
    assert session.readings() == {"P1": ["507.1"]}


def test_a_star_does_not_record_what_only_enter_records() -> None:
    session = typed(weighing("500.0"), "", "507.1", "507.2", "507.3")
    said = answer(session, "*", doubts_nines)
    assert (said.events, said.what) == ((), "all is read")


def test_plus_reads_the_last_piece_once_more_and_goes_on_where_it_was() -> None:
    for keys in (["+", "507.3"], ["+507.3"]):
        session = typed(weighing(), "", "507.1", "507.2", *keys)
        assert session.now == P3
        assert session.readings() == {"P1": ["507.1"], "P2": ["507.2", "507.3"]}


def test_plus_on_a_piece_that_was_gone_back_to_reads_that_one() -> None:
    session = typed(weighing(), "", "507.1", "507.2", "-", "-", "+507.0")
    assert session.readings() == {"P1": ["507.1", "507.0"], "P2": ["507.2"]}


def test_a_plus_that_was_a_slip_is_skipped_like_a_piece() -> None:
    session = typed(weighing(), "", "507.1", "+", "*")
    assert session.now == P2
    assert session.readings() == {"P1": ["507.1"]}


def test_plus_before_anything_was_read_says_so() -> None:
    assert answer(typed(weighing(), ""), "+", takes_all).what == "nothing was read yet"


def test_the_last_piece_can_be_corrected_when_all_is_read() -> None:
    session = typed(weighing(), "", "507.1", "507.2", "507.3")
    assert session.now == RECORD
    assert typed(session, "-", "507.4").readings()["P3"] == ["507.4"]
    assert typed(session, "+507.5").readings()["P3"] == ["507.3", "507.5"]
    said = answer(session, "507.9", takes_all)
    assert (said.events, said.what) == ((), "all is read")


def test_a_number_that_is_doubted_is_taken_when_it_comes_again() -> None:
    session = typed(weighing(), "")
    first = answer(session, "907.1", doubts_nines)
    assert (first.events, first.doubted, first.what) == ((), "907.1", "far off")
    assert typed(session, "907.1", "907.1").readings() == {"P1": ["907.1"]}


@pytest.mark.parametrize("between", ["507.1", "907.2", "*", "-", "/look", "", "x"])
def test_a_doubted_number_counts_as_come_again_only_right_after_it(between: str) -> None:
    session = typed(weighing(), "", "500.0", "907.1", between, "907.1")
    assert "907.1" not in [text for texts in session.readings().values() for text in texts]


def test_what_is_no_number_is_refused_however_often_it_comes() -> None:
    session = typed(weighing(), "", "x", "x", "x")
    assert (session.now, session.readings()) == (P1, {})


def test_enter_alone_is_no_reading() -> None:
    said = answer(typed(weighing(), ""), "", takes_all)
    assert (said.events, said.what) == ((), "nothing was typed")


def test_a_note_says_which_piece_it_is_about() -> None:
    session = typed(weighing(), "", "/scale is level", "507.1", "/ chip   in the skirt", "507.2")
    assert session.notes == ("scale is level", "P1: chip in the skirt")
    assert answer(session, "/", takes_all).what == "there is no note"


def test_of_a_lot_enter_takes_the_number_that_the_parts_list_has() -> None:
    pieces = Slot("pieces")
    lot = Session((Slot("total"), pieces, RECORD), offers={pieces: "16"})
    session = typed(lot, "29.58", "")
    assert (session.readings("total"), session.of("pieces")) == ({"": ["29.58"]}, "16")
    assert typed(lot, "29.58", "8").of("pieces") == "8"
    assert typed(lot, "29.58", "+29.57").readings("total") == {"": ["29.58", "29.57"]}


def test_a_lot_is_not_ended_without_how_many_it_was() -> None:
    pieces, each = Slot("pieces"), Slot("each")
    lot = Session((Slot("total"), pieces, each, RECORD))
    for line in ("*", "**"):
        assert typed(lot, "29.58", line).now == pieces
    assert typed(lot, "29.58", "16", "**").now == each
    assert typed(lot, "**").now == RECORD  # nothing was weighed, and so nothing is missing


LINES = st.lists(
    st.sampled_from(["", "-", "*", "**", "+", "/note", "+506.0", "507.1", "907.2", "907.2", "500.0", "x", "/"]),
    max_size=40,
)


def events_of(session: Session, lines: Sequence[str]) -> tuple[list[Event], list[Session]]:
    """All that happened, and the session after each of it."""
    events: list[Event] = []
    sessions = [session]
    doubted = None
    for line in lines:
        said = answer(sessions[-1], line, doubts_nines, doubted)
        doubted = said.doubted
        for event in said.events:
            events.append(event)
            sessions.append(applied(sessions[-1], event))
    return events, sessions


@given(st.sampled_from([None, "500.0"]), LINES)
def test_no_reading_that_was_taken_is_lost_whatever_is_typed(nominal: str | None, lines: list[str]) -> None:
    events, sessions = events_of(weighing(nominal), lines)
    taken: dict[Slot, str] = {}
    for event, after in zip(events, sessions[1:], strict=True):
        if event.do == "put":
            assert event.slot is not None
            taken[event.slot] = event.text
        assert {slot: after.read[slot] for slot in taken} == taken
        assert [text for texts in after.readings().values() for text in texts] == [
            after.read[slot] for slot in after.asked if slot.role == "reading" and slot in after.read
        ]


@given(st.sampled_from([None, "500.0"]), LINES)
def test_events_alone_make_the_same_session_again(nominal: str | None, lines: list[str]) -> None:
    events, sessions = events_of(weighing(nominal), lines)
    again = weighing(nominal)
    for event, after in zip(events, sessions[1:], strict=True):
        again = applied(again, event)
        assert again == after


@given(st.sampled_from([None, "500.0"]), LINES)
def test_what_is_asked_for_is_always_something_that_is_asked(nominal: str | None, lines: list[str]) -> None:
    _, sessions = events_of(weighing(nominal), lines)
    for session in sessions:
        assert 0 <= session.at <= len(session.asked)
        assert len(set(session.asked)) == len(session.asked)
        if session.now is None:  # all is done: nothing is open any more
            assert not any(session.is_open(index) for index in range(len(session.asked)))


@given(LINES)
def test_from_wherever_it_stands_two_stars_and_enter_end_it(lines: list[str]) -> None:
    _, sessions = events_of(weighing("500.0"), lines)
    assert typed(sessions[-1], "**", "", "", "").now is None

"""The journal of a session: whatever moment the plug is pulled at, what was taken is there when it is opened again."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildbook.bench import journal as journals
from buildbook.bench.entry import Event, Judged, Session, Slot, answer, applied
from buildbook.bench.journal import Head, Journal, path_of, unfinished
from buildbook.book.places import Misuse

HEAD = Head("weighings", "piston", "ava", "scale", "g", "2026-10-03T09:10+01:00", note="[bold]wet[/bold] \x1b[31m")
P1, P2 = Slot("reading", "P1"), Slot("reading", "P2")
ASKED = (Slot("nominal"), Slot("before"), P1, P2, Slot("after"), Slot("record"))
LINES = ["", "507.1", "507.2", "+507.3", "-", "*", "/chip", "**"]


def begun(folder: Path, *events: Event) -> Journal:
    journal = Journal(path_of(folder, "piston"))
    journal.begin(HEAD, Session(ASKED, {Slot("nominal"): "500.0"}, offers={P2: "1"}))
    for minute, event in enumerate(events, start=11):
        journal.add(event, f"2026-10-03T09:{minute}+01:00")
    return journal


def again(folder: Path) -> Journal:
    return Journal(path_of(folder, "piston"))


@settings(max_examples=25)
@given(st.lists(st.sampled_from(LINES), max_size=15))
def test_what_is_read_back_is_the_session_as_it_stood(tmp_path: Path, lines: list[str]) -> None:
    path_of(tmp_path, "piston").unlink(missing_ok=True)
    journal = begun(tmp_path)
    for line in lines:
        assert journal.session is not None
        for event in answer(journal.session, line, lambda session, slot, text: Judged(text)).events:
            journal.add(event, "2026-10-03T09:30+01:00")
    stood = (journal.head, journal.session, journal.last_read)
    journal.close()
    opened = again(tmp_path)
    assert (opened.head, opened.session, opened.last_read) == stood
    opened.close()


def test_cut_off_at_any_byte_it_holds_every_event_that_was_whole(tmp_path: Path) -> None:
    events = (Event("put", P1, "507.1"), Event("note", text="chip"), Event("put", P2, "507.2"), Event("back"))
    journal = begun(tmp_path, *events)
    journal.close()
    content = journal.path.read_bytes()
    ends = [index + 1 for index, byte in enumerate(content) if byte == 0x0A]
    near_the_ends = {end + off for end in ends for off in (-2, -1, 0, 1)}
    for cut in sorted({*range(0, len(content), 13), *near_the_ends, len(content)}):
        journal.path.write_bytes(content[:cut] + (b"\x00" * 40 if cut % 2 else b""))  # as a disk leaves it
        opened = again(tmp_path)
        whole = sum(end <= cut for end in ends)
        expected = Session(ASKED, {Slot("nominal"): "500.0"}, offers={P2: "1"}) if whole else None
        for event in events[: max(whole - 1, 0)]:
            assert expected is not None
            expected = applied(expected, event)
        assert opened.session == expected, cut
        assert journal.path.read_bytes() == content[: ends[whole - 1] if whole else 0]  # what is added next is whole
        opened.close()


def test_nothing_that_was_written_is_ever_changed(tmp_path: Path) -> None:
    journal = begun(tmp_path)
    before = journal.path.read_bytes()
    for event in (Event("put", P1, "507.1"), Event("back"), Event("put", P1, "507.9"), Event("skip", P2)):
        journal.add(event, "2026-10-03T09:11+01:00")
        after = journal.path.read_bytes()
        assert after.startswith(before)
        assert after.count(b"\n") == before.count(b"\n") + 1
        before = after
    journal.close()


def test_the_time_of_a_session_is_that_of_its_last_reading(tmp_path: Path) -> None:
    journal = begun(tmp_path, Event("put", P1, "507.1"), Event("put", P2, "507.2"), Event("put", Slot("after"), "500"))
    assert journal.last_read == "2026-10-03T09:12+01:00"
    journal.close()
    assert again(tmp_path).last_read == "2026-10-03T09:12+01:00"


def test_a_reading_that_the_disk_does_not_take_is_not_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    journal = begun(tmp_path, Event("put", P1, "507.1"))
    stood, content = journal.session, journal.path.read_bytes()

    def full(descriptor: int, data: bytes) -> int:
        real(descriptor, data[:7])
        raise OSError(28, "No space left on device")

    real = os.write
    monkeypatch.setattr(os, "write", full)
    with pytest.raises(OSError, match="No space"):
        journal.add(Event("put", P2, "507.2"), "2026-10-03T09:12+01:00")
    monkeypatch.undo()
    assert (journal.session, journal.path.read_bytes()) == (stood, content)
    journal.close()


def test_two_terminals_do_not_enter_one_session(tmp_path: Path) -> None:
    journal = begun(tmp_path)
    with pytest.raises(Misuse, match="piston is being entered in another terminal"):
        again(tmp_path)
    journal.close()
    again(tmp_path).close()


def test_a_process_that_dies_lets_go_of_it(tmp_path: Path) -> None:
    code = (
        "import os, signal, sys; from pathlib import Path; from buildbook.bench.journal import Journal; "
        "held = Journal(Path(sys.argv[1])); os.kill(os.getpid(), signal.SIGKILL)"
    )
    path = path_of(tmp_path, "piston")
    assert subprocess.run([sys.executable, "-c", code, str(path)], check=False).returncode == -9
    Journal(path).close()


def test_a_line_that_somebody_changed_is_named_and_nothing_is_lost(tmp_path: Path) -> None:
    journal = begun(tmp_path, Event("put", P1, "507.1"))
    journal.close()
    content = journal.path.read_bytes().replace(b'"do": "put"', b'"do": oops')
    journal.path.write_bytes(content)
    with pytest.raises(Misuse, match=r"\.piston\.taking:2: this line of an unfinished session cannot be read"):
        again(tmp_path)
    assert journal.path.read_bytes() == content
    assert unfinished(tmp_path) == []


def test_unfinished_sessions_are_told_with_what_goes_on_with_them(tmp_path: Path) -> None:
    begun(tmp_path, Event("put", P1, "507.1"), Event("again", Slot("reading", "P1", 2)),
          Event("put", Slot("reading", "P1", 2), "507.2")).close()  # fmt: skip
    bores = Journal(path_of(tmp_path, "main_bore"))
    bores.begin(HEAD._replace(file="clearances", what="main_bore"), Session((Slot("reading", "1"), Slot("record"))))
    bores.close()  # nothing was read in it
    (found,) = unfinished(tmp_path)
    assert (found.command, found.read, found.asked) == ("weigh piston", 1, 2)  # one piece of two, read twice
    (note,) = journals.notes(tmp_path)
    assert (note.severity, note.rule) == ("note", "unfinished")
    assert "1 of 2 are read" in note.what


def test_only_what_holds_nothing_for_certain_may_be_thrown_away(tmp_path: Path) -> None:
    journal = begun(tmp_path)
    assert journal.holds_nothing()
    journal.add(Event("put", Slot("before"), "500.0"), "2026-10-03T09:11+01:00")
    assert journal.holds_nothing()  # a check weight says nothing by itself
    journal.add(Event("put", P1, "507.1"), "2026-10-03T09:11+01:00")
    assert not journal.holds_nothing()
    journal.path.write_bytes(b"{oops\n")
    assert not journal.holds_nothing()
    journal.close()


def test_what_is_removed_is_gone_and_held_by_nobody(tmp_path: Path) -> None:
    journal = begun(tmp_path, Event("put", P1, "507.1"))
    journal.remove()
    assert not journal.path.exists()
    opened = again(tmp_path)
    assert opened.head is None
    opened.close()


def test_each_line_is_json_that_a_person_can_read(tmp_path: Path) -> None:
    journal = begun(tmp_path, Event("put", P1, "507.1"))
    journal.close()
    first, second = map(json.loads, journal.path.read_text().splitlines())
    assert (first["what"], first["by"], first["with_"]) == ("piston", "ava", "scale")
    assert (second["do"], second["slot"], second["text"]) == ("put", ["reading", "P1", 1], "507.1")

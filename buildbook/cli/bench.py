"""The loop at the terminal that `weigh` and `measure` share: ask, take, keep safe, and record it all at the end."""

import os
import select
import sys
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from stat import S_ISREG
from typing import TYPE_CHECKING, NamedTuple, NoReturn

import typer

from buildbook.book.places import Misuse, folder_of, resolve
from buildbook.cli.common import (
    Recorded,
    finish,
    keep_by_hand,
    make_record,
    open_book,
    person,
    this_minute,
)
from buildbook.cli.given import Asked, Given, instrument, opened, readings_given, record_given, unit_of_file

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.bench.entry import Session
    from buildbook.bench.journal import Head, Journal
    from buildbook.bench.judging import Bench
    from buildbook.bench.plan import Plan, Usual
    from buildbook.bench.record import Entered
    from buildbook.bench.stream import Source
    from buildbook.book.writing import Value
    from buildbook.figures import Figures
    from buildbook.records.model import Build
    from buildbook.records.tree import MapNode

_LOOK_AGAIN = 0.3  # seconds, after which an instrument is asked again what it makes of what it has sent
_GO_ON = "go on at a terminal: what was read is safe"
STOPPED = 130  # as a shell has it for what was ended by Ctrl-C


class Line(NamedTuple):
    """A line from the keyboard, or the number that an instrument showed."""

    text: str
    typed: bool = True


class NoReading(NamedTuple):
    """What an instrument showed instead of a reading, and the remedy; and whether it may have been a reading that is
    lost now."""

    what: str
    remedy: str
    is_lost: bool = False


class _Stop(Exception):
    """The builder, or the end of what can be read, stops the session."""


def can_ask(from_: str | None) -> bool:
    """Whether there is somebody to answer, or an instrument."""
    return from_ is not None or sys.stdin.isatty()


def record_entered(
    asked: Asked,
    arguments: Sequence[str],
    csv_file: str | None,
    prepared: "Callable[[Mapping[str, Given], Figures, str], tuple[Plan, Entered]]",
    only_given: Mapping[str, bool],
    *,
    example: str,
    dry_run: bool,
) -> Recorded:
    """Record a session: of the readings that are given, or else asked for one after the other.

    `prepared` is the session of readings that are given, from the build and the unit of a bare number; `only_given` are
    options that count beside such readings only, each with whether it is given. Raises Misuse.
    """
    named = tuple(each for each in arguments if "=" not in each)
    given = readings_given([each for each in arguments if "=" in each], csv_file, asked.dimension, example)
    if named and (given or not can_ask(asked.from_)):
        raise Misuse(f"'{named[0][:40]}' is no name with its readings", f"write both, such as {example}")
    if given:
        if asked.from_ is not None:
            raise Misuse("--from reads the instrument, and readings are given as well", "use one of them")
        return record_given(asked, given, partial(prepared, given), dry_run=dry_run)
    for option, is_given in {"--dry-run": dry_run, **only_given}.items():
        if is_given:
            raise Misuse(f"{option} needs readings that are given", f"add --csv FILE, or {example}")
    if not can_ask(asked.from_):
        what = "there are no readings, and nobody at a terminal to ask for them"
        raise Misuse(what, f"write them, such as {example}, or add --csv FILE or --from PORT")
    return _enter(asked._replace(only=named))


def _enter(asked: Asked) -> Recorded:
    """Ask for one number after the other, and record the session at its end."""
    from buildbook.bench.journal import Journal, path_of
    from buildbook.views.screen import console

    root = open_book(asked.book)
    full_name = resolve(root, asked.build, Path.cwd())
    figures, earlier = opened(root, full_name, as_json=asked.as_json)
    to = console(error=asked.as_json)
    lines = _Lines(_source(asked), to)
    journal = Journal(path_of(folder_of(root, full_name), asked.what))
    bench = None
    try:
        bench = _begin(journal, figures, earlier, asked, lines, to)
        assert journal.head is not None
        _not_twice(root, journal, bench, figures, asked)
        _ask(journal, bench, lines, to)
        recorded = _record(root, full_name, journal, bench, asked)
        journal.remove()
        return recorded
    except (_Stop, KeyboardInterrupt):
        if journal.holds_nothing():
            journal.remove()
        _stopped(to, journal, full_name)
        raise typer.Exit(STOPPED) from None
    except (typer.Exit, Misuse, OSError):
        if bench is not None and journal.fd >= 0:  # it could not be written or recorded
            _stopped(to, journal, full_name)
        raise
    finally:
        if journal.head is None:
            journal.remove()
        journal.close()
        lines.close()


def _stopped(to: "Console", journal: "Journal", build: str) -> None:
    from buildbook.bench.journal import unfinished
    from buildbook.views.bench import draw_stopped

    left = [each for each in unfinished(journal.path.parent) if each.path == journal.path]
    draw_stopped(to, left[0] if left else None, build)


def _source(asked: Asked) -> "Source | None":
    if asked.from_ is None:
        return None
    from buildbook.bench.stream import open_source

    return open_source(asked.from_, asked.dimension)


# --- beginning, or going on ------------------------------------------------------------------------------------------


def _begin(
    journal: "Journal", figures: "Figures", earlier: "Build | None", asked: Asked, lines: "_Lines", to: "Console"
) -> "Bench":
    """Begin a session, or go on with the one that lies there. Raises Misuse."""
    if journal.head is not None and journal.holds_nothing() and not _is_the_same(journal.head, asked):
        journal.start_anew()
    if journal.head is not None:
        return _go_on(journal, figures, earlier, asked, lines, to)
    from buildbook.bench.journal import Head
    from buildbook.bench.judging import Bench
    from buildbook.bench.plan import known_check_weight, usual
    from buildbook.views.bench import draw_beginning

    build, plan = figures.build, _plan(figures, asked, asked.only, earlier)
    known = usual(build, earlier, plan)
    if not known.instruments and asked.with_ is None:
        kind = "scale" if asked.file == "weighings" else "instrument for this"
        raise Misuse(f"shop.yaml names no {kind}", "add it to its instruments: every record says with what")
    by, with_ = _who_and_on_what(asked, known, lines, to)
    by, with_ = person(build.shop, by), instrument(build, with_, plan)
    unit = asked.unit or unit_of_file(build, asked.file, plan.dimension)
    nominal = known_check_weight(build, earlier, with_, unit) if asked.file == "weighings" else None
    head = Head(asked.file, asked.what, by, with_, unit, this_minute(), asked.temperature, asked.note)
    journal.begin(head, plan.session(nominal))
    bench = Bench(build, plan, with_, unit, asked.temperature)
    draw_beginning(to, bench, by, build.name)
    return bench


def _go_on(
    journal: "Journal", figures: "Figures", earlier: "Build | None", asked: Asked, lines: "_Lines", to: "Console"
) -> "Bench":
    """Go on with the session that lies there. Raises Misuse where something else was asked for."""
    from buildbook.bench.entry import Event
    from buildbook.bench.judging import Bench
    from buildbook.views.bench import draw_resumed

    head, session = journal.head, journal.session
    assert head is not None
    assert session is not None
    if not _is_the_same(head, asked):
        what = f"a session of {head.what} by {head.by} with {head.with_}, in {head.unit}, lies here unfinished"
        go_on = f"--by {head.by} --with {head.with_}, and no piece named"
        raise Misuse(what, f"go on with it as it was begun ({go_on}); ** ends it, and records what was read")
    plan, places = _plan(figures, asked, (), earlier), {slot.place for slot in session.asked}
    plan = plan._replace(fellows={name: value for name, value in plan.fellows.items() if name not in places})
    draw_resumed(to, head, session)
    if asked.note:
        journal.add(Event("note", text=asked.note), this_minute())
    if session.now is None and lines.has_keyboard:  # it could not be recorded as it is
        journal.add(Event("back"), this_minute())
    return Bench(figures.build, plan, head.with_, head.unit, head.temperature)


def _plan(figures: "Figures", asked: Asked, only: Sequence[str], earlier: "Build | None") -> "Plan":
    from buildbook.bench.plan import CannotAsk, measuring_plan, weighing_plan

    planned = weighing_plan if asked.file == "weighings" else measuring_plan
    try:
        return planned(figures, asked.what, only, earlier)
    except CannotAsk as cannot:
        raise Misuse(cannot.what, cannot.remedy) from None


def _is_the_same(head: "Head", asked: Asked) -> bool:
    """Whether what was asked for can go on with the session that lies here."""
    given = (asked.by, asked.with_, asked.unit, asked.temperature)
    own = (head.by, head.with_, head.unit, head.temperature)
    return not asked.only and all(one in {None, other} for one, other in zip(given, own, strict=True))


_SOMEBODY_ELSE = "-"


def _who_and_on_what(asked: Asked, known: "Usual", lines: "_Lines", to: "Console") -> tuple[str | None, str]:
    """As given, or as chosen. Whoever did it the last time is taken to do it now, unless it is said to be another."""
    who, which = "Who does it?", "On which instrument?"
    by, with_ = asked.by, asked.with_
    if by is None and with_ is None and known.person is not None and min(len(known.people), len(known.instruments)) > 1:
        by = known.person
        question = f"{by}, on which instrument?"
        with_ = _chosen(question, known.instruments, known.instrument, lines, to, or_else="- somebody else")
        if with_ != _SOMEBODY_ELSE:
            return by, with_
        by = with_ = None
    if by is None and known.people:
        by = _chosen(who, known.people, known.person, lines, to)
    return by, with_ or _chosen(which, known.instruments, known.instrument, lines, to)


def _chosen(
    question: str, names: Sequence[str], usual: str | None, lines: "_Lines", to: "Console", *, or_else: str = ""
) -> str:
    """One of several names, by its number; Enter is the one of the last time."""
    from buildbook.views.bench import draw_choice, draw_said

    if len(names) == 1:
        return names[0]
    if not lines.has_keyboard:
        raise Misuse(f"nobody can be asked: {question.lower()}", f"say it with --by and --with ({', '.join(names)})")
    while True:
        draw_choice(to, question, names, usual, or_else)
        typed = lines.typed().strip()
        if not typed and usual is not None:
            return usual
        if typed in names or (or_else and typed == _SOMEBODY_ELSE):
            return typed
        if typed.isdecimal() and 0 < int(typed) <= len(names):
            return names[int(typed) - 1]
        draw_said(to, f"'{typed[:20]}' is none of them", f"type a number from 1 to {len(names)}")


def _not_twice(root: Path, journal: "Journal", bench: "Bench", figures: "Figures", asked: Asked) -> None:
    """Where the session is a record already, and a killed command left its journal behind: nothing goes in again."""
    from buildbook.bench.record import is_recorded
    from buildbook.book.writing import lock

    assert journal.head is not None
    assert journal.session is not None
    entered, head = bench.entered(journal.session), journal.head
    if entered.is_empty:
        return
    known = is_recorded(figures.build, bench.plan, head.by, head.with_, journal.last_read, entered)
    if known is None:
        return
    with lock(root):
        keep_by_hand(root, folder_of(root, figures.build.name) / f"{asked.file}.yaml")
    journal.remove()

    def draw(to: "Console") -> None:
        from buildbook.views.screen import words

        to.print(words(f"it had been recorded already, as {known}: nothing is entered twice"))

    finish(figures.build.name, lambda: {"recorded": known}, [], draw, as_json=asked.as_json)


# --- asking ----------------------------------------------------------------------------------------------------------


def _ask(journal: "Journal", bench: "Bench", lines: "_Lines", to: "Console") -> None:
    """Ask until all is answered; each answer is on disk before the next question."""
    from buildbook.bench.entry import READ_OFF, answer
    from buildbook.views.bench import draw_noted, draw_prompt, draw_question, draw_said

    doubted, asked = None, None
    while (session := journal.session) is not None and session.now is not None:
        (draw_question if session is not asked else draw_prompt)(to, bench, session)
        asked = session
        line = lines.next(bench.unit) if lines.has_keyboard or session.now.role in READ_OFF else _unasked(session)
        if isinstance(line, NoReading):
            to.print()
            draw_said(to, line.what, line.remedy)
            if line.is_lost:
                lines.need_somebody()
            continue
        if not line.typed:  # what is typed stands on the screen already
            to.print(line.text, markup=False, highlight=False)
        said = answer(session, line.text, bench, doubted)
        doubted = said.doubted
        for event in said.events:
            journal.add(event, this_minute())
            if event.do == "note":
                draw_noted(to, event.text)
        if said.what:
            draw_said(to, said.what, said.remedy, doubted=doubted is not None)
            lines.need_somebody()
            lines.drop_what_was_typed_ahead()


def _unasked(session: "Session") -> Line:
    """What is answered where an instrument reads and nobody is at the keyboard: Enter. Raises Misuse where that is no
    answer."""
    slot = session.now
    if slot is not None and slot.role in {"pieces", "each"} and slot not in session.offers:
        what = f"nobody can be asked how many pieces {'the lot' if slot.role == 'pieces' else 'each cylinder'} has"
        raise Misuse(what, _GO_ON)
    return Line("", typed=False)


class _Lines:
    """Lines from the keyboard, and readings from an instrument, whichever comes first."""

    def __init__(self, source: "Source | None", to: "Console") -> None:
        self._source = source
        self._begun = b""
        is_stream = source is not None and source.fileno() == sys.stdin.fileno()
        self.has_keyboard = sys.stdin.isatty() and not is_stream
        self._is_watched = not is_stream or (to.is_terminal and not S_ISREG(os.fstat(sys.stdin.fileno()).st_mode))

    def need_somebody(self) -> None:
        """After a number that was not taken: in a stream that nobody watches the next line is of the next piece, and
        would be taken for this one. Raises Misuse then."""
        if not self._is_watched:
            raise Misuse("the next line may be of another piece, and nobody is at a terminal to say", _GO_ON)

    def drop_what_was_typed_ahead(self) -> None:
        """After a number that was not taken: lines that wait already were typed, or pasted, for the pieces after it."""
        self._begun = b""
        while self.has_keyboard and select.select([sys.stdin], [], [], 0)[0]:
            if not os.read(sys.stdin.fileno(), 4096):
                raise _Stop

    def typed(self) -> str:
        """The next line from the keyboard. Raises _Stop at its end."""
        while b"\n" not in self._begun:
            try:
                came = os.read(sys.stdin.fileno(), 4096) if self.has_keyboard else b""
            except OSError:  # the terminal was closed
                came = b""
            if not came:
                raise _Stop
            self._begun += came
        line, _, self._begun = self._begun.partition(b"\n")
        return line.decode(errors="replace")

    def next(self, unit: str) -> Line | NoReading:
        """The next line or reading. Raises _Stop where no more will come."""
        source = self._source
        while source is not None and b"\n" not in self._begun:
            if (shown := _shown(source, unit)) is not None:
                if source.ended and isinstance(shown, NoReading):
                    self.close()
                return shown
            waiting = [source.fileno(), *([sys.stdin.fileno()] if self.has_keyboard else [])]
            ready, _, _ = select.select(waiting, [], [], _LOOK_AGAIN)
            if self.has_keyboard and sys.stdin.fileno() in ready:
                break
        return Line(self.typed())

    def close(self) -> None:
        if self._source is not None:
            self._source.__exit__(None, None, None)
            self._source = None


def _shown(source: "Source", unit: str) -> Line | NoReading | None:
    """What an instrument shows, where that is a reading in the unit of the session; None where it shows nothing new."""
    from buildbook.bench.stream import MAY_BE_A_READING, Trouble

    shown = source.read(0)
    if shown is None:
        return None
    if isinstance(shown, Trouble):
        return NoReading(shown.what, shown.remedy, shown.kind in MAY_BE_A_READING)
    if shown.unit is not None and shown.unit != unit:
        what = f"it shows {shown.text} {shown.unit}, and this session is in {unit}"
        return NoReading(what, f"set it to {unit}", is_lost=True)
    return Line(shown.text, typed=False)


# --- the record ------------------------------------------------------------------------------------------------------


def _record(root: Path, name: str, journal: "Journal", bench: "Bench", asked: Asked) -> Recorded:
    from buildbook.bench.record import NotWritten, fields

    session, head = journal.session, journal.head
    assert session is not None
    assert head is not None
    entered = bench.entered(session)
    if entered.is_empty:
        journal.remove()
        _nothing_read(name, asked.as_json)

    def entry(before: "Figures", tree: "MapNode | None") -> "tuple[str, dict[str, Value]]":
        record: dict[str, Value] = {"taken": journal.last_read}
        try:
            record |= fields(bench.plan, head.with_, entered)
        except NotWritten as error:
            raise Misuse(error.what, error.remedy) from None
        return bench.plan.title, record

    note = "; ".join(filter(None, (head.note, *session.notes))) or None
    where = (asked.file, "sessions")
    return make_record(name, root, head.by, where, asked.prefix, entry, asked.as_json, note)


def _nothing_read(name: str, as_json: bool) -> NoReturn:
    def draw(to: "Console") -> None:
        from buildbook.views.screen import words

        to.print(words("nothing was read, and so nothing is recorded"))

    finish(name, lambda: {"recorded": None}, [], draw, as_json=as_json)

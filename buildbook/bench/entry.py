"""A session of entering, as a value: what is asked, what was read, and what a typed line does to it.

Nothing here touches a file, a screen or a clock. A line becomes events; events, applied in their order, make the
session again, so that what is written down of each is enough to go on where it stopped.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, NamedTuple

# What is asked: a reading of a piece or place; the check weight (what it is, and what it reads before and after); a lot
# (what it weighs, how many pieces it has, how many of them go into each cylinder); and whether to record it all.
Role = Literal["reading", "nominal", "before", "after", "total", "pieces", "each", "record"]

NOTHING_IS_FINE: tuple[Role, ...] = ("nominal", "before", "after", "record")  # Enter alone goes past these
READ_OFF: tuple[Role, ...] = ("reading", "total")  # what may be read a second time
COUNTS: tuple[Role, ...] = ("pieces", "each")  # without which a lot says nothing


class Slot(NamedTuple):
    """One number that is asked for: of a piece or place, which of its readings."""

    role: Role
    place: str = ""
    nth: int = 1


class Event(NamedTuple):
    """One thing that happened: a number put into a slot, a slot skipped or left as it was, a step back, another reading
    asked for, a note, or the rest left out."""

    do: Literal["put", "skip", "leave", "back", "again", "note", "end"]
    slot: Slot | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Session:
    """Where a session stands: `at` is the slot that is asked for now, beyond the last one when all is done."""

    asked: tuple[Slot, ...]
    read: Mapping[Slot, str] = field(default_factory=dict)
    skipped: frozenset[Slot] = frozenset()
    offers: Mapping[Slot, str] = field(default_factory=dict)  # what Enter alone puts
    notes: tuple[str, ...] = ()
    last: Slot | None = None  # the reading that was taken last
    at: int = -1

    def __post_init__(self) -> None:
        if self.at < 0:
            object.__setattr__(self, "at", self.next_open(-1))

    @property
    def now(self) -> Slot | None:
        """The slot that is asked for; None when all is done."""
        return self.asked[self.at] if self.at < len(self.asked) else None

    def of(self, role: Role) -> str | None:
        """What was put where there is only one of its role."""
        return next((text for slot, text in self.read.items() if slot.role == role), None)

    def readings(self, role: Role = "reading") -> dict[str, list[str]]:
        """Place → its readings, in the order in which they are asked for."""
        found: dict[str, list[str]] = {}
        for slot in self.asked:
            if slot.role == role and slot in self.read:
                found.setdefault(slot.place, []).append(self.read[slot])
        return found

    def is_open(self, index: int) -> bool:
        slot = self.asked[index]
        return slot not in self.read and slot not in self.skipped and not self.is_idle(slot)

    def is_idle(self, slot: Slot) -> bool:
        """Whether there is no need to ask: no check weight is used, no lot was weighed, or the last reading of the
        check weight has ended the session."""
        if slot.role == "before":
            return self.of("nominal") is None
        if slot.role == "after":
            return self.of("before") is None
        if slot.role in COUNTS:
            return self.of("total") is None
        if slot.role == "record":
            ends = [each for each in self.asked if each.role == "after" and not self.is_idle(each)]
            return any(each in self.read or each in self.skipped for each in ends)
        return False

    def next_open(self, index: int) -> int:
        """The next slot that is still to be answered, from the beginning again after the last."""
        around = (*range(index + 1, len(self.asked)), *range(index + 1))
        return next((each for each in around if each >= 0 and self.is_open(each)), len(self.asked))

    def before(self, index: int) -> int | None:
        """The slot to step back to."""
        return next((each for each in reversed(range(index)) if not self.is_idle(self.asked[each])), None)


def applied(session: Session, event: Event) -> Session:
    """The session after one event. A number that was taken stays, or makes way for another number of its own slot."""
    slot = event.slot
    match event.do:
        case "put" if slot in session.asked:
            assert slot is not None
            after = replace(
                session,
                read={**session.read, slot: event.text},
                skipped=session.skipped - {slot},
                last=slot if slot.role in READ_OFF else session.last,
            )
            return replace(after, at=after.next_open(session.asked.index(slot)))
        case "skip" if slot is not None and slot in session.asked and slot not in session.read:
            after = replace(session, skipped=session.skipped | {slot})
            return replace(after, at=after.next_open(session.asked.index(slot)))
        case "leave":
            return replace(session, at=session.next_open(session.at))
        case "back":
            earlier = session.before(session.at)
            if earlier is None:
                return session
            to_record = {each for each in session.skipped if each.role == "record"}  # that is asked for again
            return replace(session, at=earlier, skipped=session.skipped - to_record)
        case "again" if slot is not None and slot not in session.asked:
            index = 1 + max(n for n, each in enumerate(session.asked) if _same_place(each, slot))
            return replace(session, asked=(*session.asked[:index], slot, *session.asked[index:]), at=index)
        case "note":
            return replace(session, notes=(*session.notes, event.text))
        case "end":
            left = {
                each
                for index, each in enumerate(session.asked)
                if session.is_open(index) and each.role not in {"after", "record", *COUNTS}
            }
            after = replace(session, skipped=session.skipped | left)
            return replace(after, at=after.next_open(-1))
    return session


def _same_place(one: Slot, other: Slot) -> bool:
    return (one.role, one.place) == (other.role, other.place)


class Judged(NamedTuple):
    """A number as it would be taken; why it is doubted, if it is; and what keeps it from being taken at all."""

    text: str
    doubt: str = ""
    refused: str = ""
    remedy: str = ""


class Answer(NamedTuple):
    """What a typed line comes to: events, or what is said instead. A number that is `doubted` is taken when the same
    line comes again."""

    events: tuple[Event, ...] = ()
    doubted: str | None = None
    what: str = ""
    remedy: str = ""


Judge = Callable[[Session, Slot, str], Judged]


def answer(session: Session, line: str, judge: Judge, doubted: str | None = None) -> Answer:
    """What a line means where the session stands; `doubted` is the line that was asked for again just before."""
    slot, line = session.now, line.strip()
    if slot is None:
        return Answer()
    match line:
        case "":
            return _nothing_typed(session, slot)
        case "-":
            if session.before(session.at) is None:
                return Answer(what="this is the first", remedy="there is nothing before it to go back to")
            return Answer((Event("back"),))
        case "*" if slot.role != "record":
            if slot in session.read or slot in session.skipped:
                return Answer((Event("leave"),))
            if slot.role in COUNTS:
                return Answer(what="without this number the lot says nothing", remedy="type it; - goes back")
            return Answer((Event("skip", slot),))
        case "**":
            return Answer((Event("end"),))
    if line.startswith("/"):
        note = " ".join(line.removeprefix("/").split())
        if not note:
            return Answer(what="there is no note", remedy="write it behind the /, on the same line")
        about = session.last.place if session.last is not None else ""
        return Answer((Event("note", text=f"{about}: {note}" if about else note),))
    if line.startswith("+"):
        return _again(session, slot, line, judge, doubted)
    if slot.role == "record":
        return Answer(what="all is read", remedy="Enter records it; - goes back, + reads the last one again")
    return _number(session, slot, line, (), judge, doubted, line)


def _nothing_typed(session: Session, slot: Slot) -> Answer:
    if slot in session.read or slot in session.skipped:
        return Answer((Event("leave"),))
    if offer := session.offers.get(slot):
        return Answer((Event("put", slot, offer),))
    if slot.role in NOTHING_IS_FINE:
        return Answer((Event("skip", slot),))
    return Answer(what="nothing was typed", remedy="type what it shows; * skips it, ** leaves out all the rest")


def _again(session: Session, slot: Slot, line: str, judge: Judge, doubted: str | None) -> Answer:
    """Another reading of the piece that is looked at, or else of the one that was taken last."""
    of = slot if slot.role in READ_OFF and slot in session.read else session.last
    if of is None:
        return Answer(what="nothing was read yet", remedy="+ reads the last piece a second time")
    nth = 1 + max(each.nth for each in session.asked if _same_place(each, of))
    another = Slot(of.role, of.place, nth)
    asked = Event("again", another)
    typed = line.removeprefix("+").strip()
    if not typed:
        return Answer((asked,))
    return _number(applied(session, asked), another, typed, (asked,), judge, doubted, line)


def _number(
    session: Session, slot: Slot, typed: str, first: tuple[Event, ...], judge: Judge, doubted: str | None, line: str
) -> Answer:
    judged = judge(session, slot, typed)
    if judged.refused:
        return Answer(what=judged.refused, remedy=judged.remedy)
    if judged.doubt and line != doubted:
        return Answer(doubted=line, what=judged.doubt, remedy="look again; the same number once more takes it")
    return Answer((*first, Event("put", slot, judged.text)))

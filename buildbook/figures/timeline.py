"""The life of a build as its records tell it: what was done, when and by whom; and when that came into the book."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from types import MappingProxyType
from typing import Literal, NamedTuple

from buildbook.quantities import Quantity, is_plain_number
from buildbook.records.finding import Where
from buildbook.records.model import MEASUREMENT_KINDS, WEIGHING_KINDS, Build, Entry, Person, Step, Taken

# A record that came into the book within this of its own day was written down as the work was done.
SOON = timedelta(days=1)

DONE = {"drill": "drilled", "plug": "plugged", "grind": "ground", "add": "added", "fit": "fitted", "remove": "removed",
        "index": "turned"}  # fmt: skip


# What commands call the records that have no id.
_NAMED = {"matched": "D1", "bobweights set": "bobweights"}


# What stands on a line of its own, because its place among the others of the day matters.
_BY_THEMSELVES = {"signed", "reopened", "matched", "matched again"}


class Kept(NamedTuple):
    """One commit that touched a build: `files` are those of the build (`weighings`), `records` the ids that it names.

    `how` it was made: a command made a record (`command`) or opened the build (`opened`); the whole book or the engine
    was begun with what was there (`begun`); two benches were brought together (`merged`); or somebody edited by `hand`.
    """

    sha: str
    when: datetime
    author: str
    subject: str
    how: Literal["command", "opened", "begun", "hand", "merged"]
    records: tuple[str, ...]
    files: tuple[str, ...]

    @property
    def by_hand(self) -> bool:
        return self.how == "hand"


class Event(NamedTuple):
    """One thing that happened to a build.

    `what` was done (`weighed`) `of` what; `by` is the id of a person, `who` their name. `file` and `record` say where
    it is written down, `where` in which line. `how` says how it came into the book: by a command (`record`), by `hand`,
    or only that it is in a `file`. `late` is the commit that brought it, where that was on another day than its own;
    `kept` is when it came into the book, where that is known.
    """

    what: str
    of: str
    when: Taken | None
    by: str | None
    who: str | None
    file: str
    record: str | None
    note: str | None
    void: str | None
    how: str
    late: Kept | None = None
    commit: str | None = None
    where: Where | None = None
    kept: datetime | None = None

    @property
    def day(self) -> date | None:
        return self.when.day if self.when else None


class Line(NamedTuple):
    """Like things of one day: what was done of what, by whom, each named once. A void record stands alone, and so does
    what is not the same before and after another: a sign-off, a reopening, a decision."""

    what: str
    events: tuple[Event, ...]

    @property
    def of(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(event.of for event in self.events if event.of))

    @property
    def who(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(event.who for event in self.events if event.who))

    @property
    def void(self) -> str | None:
        return self.events[0].void


Known = Mapping[tuple[str, str | None], Kept]  # (file, record) → a commit
NOT_KNOWN: Known = MappingProxyType({})


def life(build: Build, kept: Sequence[Kept], brought: Known = NOT_KNOWN, voided: Known = NOT_KNOWN) -> list[Event]:
    """Everything that happened to a build, in the order of time; what has no day stands last.

    `kept` are the commits that touched its files, newest first. Which of them first held a record (`brought`), and
    which first called it void (`voided`), may be known from the files as they were.
    """
    oldest_first = [*reversed(kept)]
    records = [_came(event, oldest_first, brought) for event in records_of(build)]
    voidings = [
        Event(
            "called void", f"{event.record} {event.of}", _taken(by.when), None, by.author, event.file, event.record,
            None, None, "hand", commit=by.sha,
        )
        for event in records
        if event.void is not None and (by := voided.get((event.file, event.record))) is not None
    ]  # fmt: skip
    return in_order([*records, *_parts(build, oldest_first), *voidings, *hand_edits(kept)])


def hand_edits(kept: Sequence[Kept]) -> list[Event]:
    """The commits, given newest first, that no command made: each one event, in the order of time. Where two benches
    were brought together, what they had entered is told by its own commits."""
    return in_order(
        Event(
            "edited by hand" if each.by_hand else "brought together", f"{', '.join(each.files)}: {each.subject}",
            _taken(each.when), None, each.author, ", ".join(each.files), None, None, None, each.how, commit=each.sha,
            kept=each.when,
        )
        for each in reversed(kept)
        if each.how in {"hand", "merged"}
    )  # fmt: skip


def in_order(events: Iterable[Event]) -> list[Event]:
    """Events by their day; within it by the minute they say, and within that by when they came into the book. One that
    says no time follows the one before it in its file."""
    keyed = []
    latest: dict[tuple[str, date | None], datetime] = {}
    for position, event in enumerate(events):
        instant = event.when.instant if event.when else datetime.max.replace(tzinfo=UTC)
        if event.when and not event.when.has_time:
            instant = latest.get((event.file, event.day), instant)
        latest[event.file, event.day] = instant
        minute = instant.replace(second=0, microsecond=0)  # a record says no more, and a commit would come after it
        keyed.append((event.day or date.max, minute, event.kept or instant, position, event))
    return [event for *_, event in sorted(keyed, key=lambda each: each[:4])]


def by_day(events: Iterable[Event]) -> dict[date | None, list[Line]]:
    """Day → its lines, in the order in which the first event of each happened."""
    days: dict[date | None, dict[tuple[str, str | None, str | None], list[Event]]] = {}
    for event in events:
        by_itself = event.void is not None or event.what in _BY_THEMSELVES
        alone = event.commit or ((event.record or event.of) if by_itself else None)
        days.setdefault(event.day, {}).setdefault((event.what, event.void, alone), []).append(event)
    return {day: [Line(what, tuple(group)) for (what, *_), group in groups.items()] for day, groups in days.items()}


def since(events: Iterable[Event], day: str) -> list[Event]:
    """What happened on a day or after it; the day may be a month or a year. What has no day is left out."""
    return [event for event in events if event.day is not None and event.day.isoformat() >= day]


def came_later(events: Iterable[Event]) -> list[tuple[Kept, list[Event]]]:
    """The commits that brought records on another day than the records' own, oldest first, each with its records."""
    found: dict[str, tuple[Kept, list[Event]]] = {}
    for event in events:
        if event.late is not None:
            found.setdefault(event.late.sha, (event.late, []))[1].append(event)
    return sorted(found.values(), key=lambda each: each[0].when)


def records_of(build: Build) -> Iterator[Event]:
    """The events that the records tell, in the order of the files."""
    people = build.shop.people
    if build.opened is not None:
        yield Event("opened", build.purpose or "", build.opened, None, None, "build", None, None, None, "file")
    for weighing in build.weighings:
        kind = WEIGHING_KINDS.get(weighing.what)
        yield _event("weighed", kind.title if kind else weighing.what, weighing, "weighings", people)
    for measuring in build.clearances:
        measured = MEASUREMENT_KINDS.get(measuring.what)
        yield _event("measured", measured.title if measured else measuring.what, measuring, "clearances", people)
    for number, decision in enumerate(build.pairings.decisions):
        what = "matched again" if number else "matched"
        how = decision.how.replace("_", " ") if decision.how and decision.how != "match" else ""
        yield _event(what, f"because {decision.because}" if decision.because else how, decision, "pairings", people)
    if (bobweights := build.spins.bobweights) is not None:
        each = [f"{throw}: {_written(value)}" for throw, read in bobweights.set.items() for value in read.values]
        yield _event("bobweights set", ", ".join(each), bobweights, "spins", people)
    for step in build.spins.steps:
        yield _step(step, people)
    yield from _signed(build)


def _signed(build: Build) -> Iterator[Event]:
    """Sign-offs, each with what opened the build again after it: where only the day is known, that is the order."""
    people = build.shop.people
    opened = list(build.reopened)
    for signed in build.sign_offs:
        yield _event("signed", signed.stage, signed, "build", people)
        for reopening in [each for each in opened if each.sign_off == signed.id]:
            opened.remove(reopening)
            yield _event("reopened", f"{signed.id}, because {reopening.because}", reopening, "build", people)
    for reopening in opened:
        of = f"{reopening.sign_off}, because {reopening.because}" if reopening.sign_off else reopening.because
        yield _event("reopened", of, reopening, "build", people)


def _event(what: str, of: str, entry: Entry, file: str, people: Mapping[str, Person]) -> Event:
    person = people.get(entry.by or "")
    who = person.name if person and person.name else entry.by
    told = Event(what, of, entry.taken, entry.by, who, file, entry.id, entry.note, entry.void, "file")
    return told._replace(where=entry.where)


def _step(step: Step, people: Mapping[str, Person]) -> Event:
    if step.spin is not None:
        read = [
            f"{plane} {_written(reading.amount)} @ {reading.angle.text}"
            for plane, reading in step.spin.readings.items()
        ]
        return _event("spun", ", ".join(read), step, "spins", people)
    if step.change is None:
        return _event("did", "", step, "spins", people)
    change = step.change
    angle = f" @ {change.numbers['angle'].text}" if "angle" in change.numbers else ""
    of = next((change.words[name] for name in ("plane", "part", "step") if name in change.words), "")
    return _event(DONE[change.kind], f"{of}{angle}", step, "spins", people)


def _parts(build: Build, kept: Sequence[Kept]) -> Iterator[Event]:
    """The parts list bears no date of its own: the day is that of the first edit of it by hand, or of the file."""
    if not build.parts:
        return
    kinds = ", ".join(dict.fromkeys(part.kind.replace("_", " ") for part in build.parts))
    touched = [each for each in kept if "parts" in each.files and each.how != "merged"]
    first = next((each for each in touched if each.by_hand), touched[0] if touched else None)
    when, who = (_taken(first.when), first.author) if first else (None, None)
    how = "file" if first is None else "hand" if first.by_hand else "record"
    yield Event("parts listed", kinds, when, None, who, "parts", None, None, None, how)


def uncertain(build: Build, kept: Sequence[Kept]) -> list[tuple[str, str]]:
    """(file, record) of those that several commits can have brought, some of them on another day than the record's
    own: only the files as they were say which did. `kept` is newest first."""
    oldest_first = [*reversed(kept)]
    return [
        (event.file, event.record)
        for event in records_of(build)
        if event.record is not None
        and len(possible := _possible(event, oldest_first)) > 1
        and any(_late(event, each) for each in possible)
    ]


def _came(event: Event, kept: Sequence[Kept], known: Known) -> Event:
    """The event with how it came into the book: by the commit that is known to have brought it, or by the only one that
    can have."""
    certain = known.get((event.file, event.record)) if event.record is not None else None
    possible = [certain] if certain is not None else _possible(event, kept)
    if len(possible) != 1 or event.what == "opened":
        return event
    (brought,) = possible
    late = brought if _late(event, brought) else None
    return event._replace(how="hand" if brought.by_hand else "record", late=late, kept=brought.when)


def _possible(event: Event, kept: Sequence[Kept]) -> list[Kept]:
    """The commits that can have brought a record into its file: the first one that names it, or else those that name
    none."""
    touched = [each for each in kept if event.file in each.files and each.how != "merged"]
    called = event.record or _NAMED.get(event.what)
    naming = [each for each in touched if called in each.records]
    if naming:
        return naming[:1]
    # opening a build brings no record, and a command names the record it makes, if that has an id
    cannot = {"opened"} if event.record is None else {"opened", "command"}
    return [each for each in touched if not each.records and each.how not in cannot]


def _late(event: Event, brought: Kept) -> bool:
    return event.day is not None and abs(brought.when.date() - event.day) > SOON


def _taken(when: datetime) -> Taken:
    return Taken(when.isoformat(timespec="minutes"), when)


def _written(number: Quantity) -> str:
    """A number as it was written, with its unit."""
    return f"{number.text} {number.unit}" if is_plain_number(number.text) else number.text

"""What an audit asks of records alone: what a sign-off covers, what opened it again, dates, people, instruments."""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from buildbook.figures.rules import instruments_are_in_calibration, records_say_when_by_whom_with_what
from buildbook.records.finding import Finding, did_you_mean
from buildbook.records.model import Build, Entry, Reopening, SignOff, Taken
from buildbook.records.read import BUILD_FILES

if TYPE_CHECKING:
    from buildbook.figures import Figures

# What a stage signs for, as files of the build. The last stage signs for all of them; a shop's own word for a stage on
# the way signs for its figures alone.
COVERED = {
    "measured": ("clearances",),
    "matched": ("weighings", "pairings"),
    "balanced": ("weighings", "pairings", "spins"),
}

ENTERED_AFTER = "entered-after"

# Two clocks of one shop are not the same to the minute.
_CLOCKS = timedelta(minutes=10)


def covered(sign_off: SignOff) -> tuple[str, ...]:
    """The files of the build that a sign-off signs for."""
    return BUILD_FILES if sign_off.seals else COVERED.get(sign_off.stage, ())


def reopening_of(build: Build, sign_off: SignOff) -> Reopening | None:
    """What opened the build again after this sign-off: the first reopening that names it or a later one; or, where one
    of the two is not in the build, that is dated after it."""
    order = {each.id: position for position, each in enumerate(build.sign_offs)}
    own = order.get(sign_off.id)
    for each in build.reopened:
        named = order.get(each.sign_off)
        if named is not None and own is not None:
            if own <= named:
                return each
        elif sign_off.taken and each.taken and not is_after(sign_off.taken, each.taken):
            return each
    return None


def sealed_by(build: Build) -> SignOff | None:
    """The sign-off that closed the build, where nothing opened it again."""
    return next((each for each in reversed(build.sign_offs) if each.seals and not reopening_of(build, each)), None)


def sealed_objection(build: Build) -> Finding | None:
    """Why nothing may be recorded in this build: it was signed at its last stage, and is not open again."""
    seal = sealed_by(build)
    if seal is None:
        return None
    when = f" on {seal.taken.day}" if seal.taken else ""
    what = f"{build.name} was signed off as {seal.stage}{when} ({seal.id}), and is closed"
    why = "What was handed over with the engine is what was signed; a change belongs on the record, with its reason."
    remedy = f"open it again first: buildbook reopen {build.name} --because 'WHY'"
    return Finding("error", "sealed", seal.where, what, why, remedy)


def is_after(one: Taken, other: Taken) -> bool:
    """Whether one moment is certainly later than another: by the day where either has no time of day."""
    return one.instant > other.instant if one.has_time and other.has_time else one.day > other.day


def audit_findings(build: Build, figures: "Figures", now: datetime) -> list[Finding]:
    """All that the records alone give away, in the order of the rules."""
    return [
        *_entered_after_their_sign_off(build),
        *_dated_before_the_one_preceding(build),
        *_dated_in_the_future(build, now),
        *records_say_when_by_whom_with_what(build, figures),
        *_reopened_by_someone_known(build),
        *instruments_are_in_calibration(build, figures),
    ]


def records_of(build: Build, file: str) -> tuple[Entry, ...]:
    """The records of one file of the build that say when they were made, in the order of the file."""
    match file:
        case "weighings":
            return build.weighings
        case "clearances":
            return build.clearances
        case "pairings":
            return build.pairings.decisions
        case "spins":
            return (*((build.spins.bobweights,) if build.spins.bobweights else ()), *build.spins.steps)
    return ()


def _named(entry: Entry) -> str:
    return entry.id or "this record"


def _entered_after_their_sign_off(build: Build) -> Iterator[Finding]:
    why = "Who signed did not see it, and the figures that were signed do not have it."
    for sign_off in build.sign_offs:
        reopening = reopening_of(build, sign_off)
        again = next((each for each in reversed(build.sign_offs) if each.stage == sign_off.stage), sign_off)
        if sign_off.taken is None or again is not sign_off:  # a stage signed again signs for all before it
            continue
        for file in covered(sign_off):
            for entry in records_of(build, file):
                opened = reopening and reopening.taken and entry.taken and not is_after(reopening.taken, entry.taken)
                if entry.taken and is_after(entry.taken, sign_off.taken) and not opened:
                    what = (
                        f"{_named(entry)} is dated {entry.taken.text}, after {sign_off.stage} was signed off "
                        f"({sign_off.id}, {sign_off.taken.text})"
                    )
                    remedy = f"sign {sign_off.stage} again once this is seen, or correct the date"
                    yield Finding("warning", ENTERED_AFTER, entry.where, what, why, remedy)


def _dated_before_the_one_preceding(build: Build) -> Iterator[Finding]:
    why = "Records are added in the order they are made; one that was slipped in, or dated back, looks like this."
    lists: Iterable[tuple[Entry, ...]] = (
        build.weighings,
        build.pairings.decisions,
        build.spins.steps,
        build.clearances,
        build.sign_offs,
        build.reopened,
    )
    for entries in lists:
        latest: Entry | None = None
        for entry in entries:
            if entry.taken is None:
                continue
            if latest is not None and latest.taken is not None and is_after(latest.taken, entry.taken):
                what = f"{_named(entry)} is dated {entry.taken.text}, before the one above it ({_named(latest)}, "
                what += f"{latest.taken.text})"
                remedy = "correct the date that is wrong, or put the records into their order"
                yield Finding("warning", "out-of-order", entry.place("taken"), what, why, remedy)
            else:
                latest = entry


def _dated_in_the_future(build: Build, now: datetime) -> Iterator[Finding]:
    why = "It cannot have been made yet, so its date says nothing."
    entries = [entry for file in BUILD_FILES for entry in records_of(build, file)]
    for entry in (*entries, *build.sign_offs, *build.reopened):
        if entry.taken is None:
            continue
        late = entry.taken.instant > now + _CLOCKS if entry.taken.has_time else entry.taken.day > now.date()
        if late:
            what = f"{_named(entry)} is dated {entry.taken.text}, which is still to come"
            yield Finding("warning", "future", entry.place("taken"), what, why, "correct the date, or the clock")


def _reopened_by_someone_known(build: Build) -> Iterator[Finding]:
    for entry in build.reopened:
        if entry.by is None:
            what = f"{_named(entry)} does not say who opened the build again"
            why = "An audit asks of every record when it was made, by whom and with what."
            yield Finding("warning", "unsigned", entry.where, what, why, "add by")
        elif entry.by not in build.shop.people:
            what = f"'by: {entry.by}' names nobody in shop.yaml"
            remedy = did_you_mean(entry.by, build.shop.people, f"add {entry.by} to people in shop.yaml")
            why = "A record by a stranger cannot be asked about."
            yield Finding("error", "unknown-by", entry.place("by"), what, why, remedy)


def voided(build: Build) -> Iterator[tuple[str, Entry]]:
    """The records that do not count, each with its file."""
    for file in BUILD_FILES:
        yield from ((file, entry) for entry in records_of(build, file) if entry.void is not None)

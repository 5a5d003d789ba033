"""What no schema can see: a list of small rules, each a function from a build and its figures to findings."""

from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from typing import TYPE_CHECKING

from buildbook import uncertainty as gum
from buildbook.balance.layouts import LayoutError
from buildbook.figures import spin_rules
from buildbook.figures.cylinders import kind_words
from buildbook.figures.firing import firing_findings
from buildbook.figures.weighings import KindSummary, PieceWeight
from buildbook.quantities import fixed
from buildbook.records.finding import Finding, Where, did_you_mean
from buildbook.records.model import WEIGHING_KINDS, Build, Entry, Instrument, WeighingSession

if TYPE_CHECKING:
    from buildbook.figures import Figures

Rule = Callable[[Build, "Figures"], Iterable[Finding]]

# Grubbs' test for one outlier, two-sided at 1 % (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1): critical
# values of |reading − mean| / standard deviation for 4, 5, 6 … pieces. One sound set in a hundred is found wrongly.
GRUBBS = (
    1.496, 1.764, 1.973, 2.139, 2.274, 2.387, 2.482, 2.564, 2.636, 2.699, 2.755, 2.806, 2.852, 2.894, 2.932, 2.968,
    3.001, 3.031, 3.060, 3.087, 3.112, 3.135, 3.158, 3.179, 3.199, 3.218, 3.236, 3.253, 3.270,
)  # fmt: skip
FEWEST_FELLOWS = 4
GROSS = Fraction(1, 10)  # pieces of one kind differ by a few per cent at most; a lost point, by far more


def layout_holds_together(build: Build, figures: "Figures") -> Iterator[Finding]:
    why = "Which rods share a crankpin decides every bobweight."
    try:
        layout = figures.layout
    except LayoutError as error:
        at = build.engine.where_layout
        remedy = "name a known layout, or spell out banks and throws"
        yield Finding("error", "layout", at, str(error), why, remedy)
        return
    yield from firing_findings(layout, build.engine)


def pieces_have_one_id_each(build: Build, figures: "Figures") -> Iterator[Finding]:
    first: dict[str, Where] = {}
    for part in build.parts:
        for stamped in part.ids:
            if stamped.id in first:
                what = f"'{stamped.id}' is the id of two pieces (first in line {first[stamped.id].line})"
                why = "What is recorded under this id could belong to either."
                yield Finding("error", "id-twice", stamped.where, what, why, "give each piece an id of its own")
            first.setdefault(stamped.id, stamped.where)
        if part.ids and part.count is not None and part.count != len(part.ids):
            what = f"{len(part.ids)} ids are listed, and count says {part.count}"
            why = "A piece is missing from the list, or was counted twice."
            yield Finding("warning", "count", part.where, what, why, "correct one of the two; ids alone are enough")


def records_have_one_id_each(build: Build, figures: "Figures") -> Iterator[Finding]:
    signed = (build.sign_offs, build.reopened)
    for entries in (build.weighings, build.clearances, build.spins.steps, build.pairings.decisions, *signed):
        seen: dict[str, Where] = {}
        for entry in entries:
            if entry.id in seen:
                what = f"{entry.id} is the id of two records (first in line {seen[entry.id].line})"
                why = "What refers to it could mean either."
                yield Finding("error", "record-twice", entry.where, what, why, "give one of them the next free id")
            elif entry.id is not None:
                seen[entry.id] = entry.where


def records_say_when_by_whom_with_what(build: Build, figures: "Figures") -> Iterator[Finding]:
    for entry, needs in _entries(build):
        lacking = [name for name, value in needs.items() if value is None]
        if lacking and entry.void is None:
            what = f"{entry.id or 'this record'} does not say {_listed(lacking)}"
            why = "An audit asks of every record when it was made, by whom and with what."
            yield Finding("warning", "unsigned", entry.where, what, why, f"add {_listed(lacking)}")
        yield from _unknown(entry, "by", entry.by, build.shop.people, "people")
        yield from _unknown(entry, "with", entry.with_, build.shop.instruments, "instruments")


def _entries(build: Build) -> Iterator[tuple[Entry, dict[str, object]]]:
    for entry in (*build.weighings, *build.clearances):
        yield entry, {"taken": entry.taken, "by": entry.by, "with": entry.with_}
    for entry in (*build.spins.steps, *build.pairings.decisions, *build.sign_offs, *_bobweights(build)):
        yield entry, {"taken": entry.taken, "by": entry.by}


def _bobweights(build: Build) -> tuple[Entry, ...]:
    return (build.spins.bobweights,) if build.spins.bobweights and build.spins.bobweights.set else ()


def _unknown(entry: Entry, field: str, name: str | None, known: Iterable[str], where: str) -> Iterator[Finding]:
    if name is None or name in known:
        return
    what = (
        f"'{field}: {name}' names nobody in shop.yaml" if field == "by" else f"'{name}' is no instrument in shop.yaml"
    )
    why = "A record by a stranger cannot be asked about." if field == "by" else "What it reads to is not known."
    remedy = did_you_mean(name, known, f"add {name} to {where} in shop.yaml")
    yield Finding("error", f"unknown-{field}", entry.place(field), what, why, remedy)


def records_come_after_the_opening(build: Build, figures: "Figures") -> Iterator[Finding]:
    for entry, _ in _entries(build):
        if build.opened and entry.taken and entry.taken.day < build.opened.day:
            what = f"{entry.id or 'this record'} is dated {entry.taken.day}, before the build was opened"
            why = f"The build was opened on {build.opened.day}; a measurement from before may be of other parts."
            yield Finding(
                "error", "too-early", entry.place("taken"), what, why, "correct the date, here or in build.yaml"
            )


def instruments_are_in_calibration(build: Build, figures: "Figures") -> Iterator[Finding]:
    for entry, _ in _entries(build):
        instrument = build.shop.instruments.get(entry.with_ or "")
        if instrument and entry.taken and entry.void is None and not instrument.in_calibration(entry.taken.day):
            what = f"{entry.with_} was out of calibration when {entry.id or 'this'} was taken ({entry.taken.day})"
            why = "What it read cannot be traced to a standard."
            remedy = "have it calibrated and measure again, or correct its dates in shop.yaml"
            yield Finding("warning", "calibration", entry.place("with"), what, why, remedy)


def weights_come_from_a_scale(build: Build, figures: "Figures") -> Iterator[Finding]:
    for session in build.weighings:
        instrument = build.shop.instruments.get(session.with_ or "")
        if instrument and not instrument.weighs:
            what = f"{session.with_} is no scale: it is listed as a {kind_words(instrument.kind)}"
            why = "How sure a weight is follows from the scale it was read on."
            yield Finding("error", "not-a-scale", session.place("with"), what, why, "name the scale that was used")


def weighed_pieces_are_listed(build: Build, figures: "Figures") -> Iterator[Finding]:
    listed = {kind: set[str]() for kind in {part.kind for part in build.parts}}
    for part in build.parts:
        listed[part.kind] |= set(part.pieces)
    for session in build.weighings:
        kind = WEIGHING_KINDS.get(session.what)
        if kind is None:
            what = f"'{session.what}' is not a kind of weighing"
            remedy = did_you_mean(session.what, WEIGHING_KINDS, f"use one of {', '.join(WEIGHING_KINDS)}")
            yield Finding("error", "unknown-kind", session.where_what, what, "It counts for nothing.", remedy)
            continue
        if not session.readings and session.lot is None and session.void is None:
            what = f"{session.id} holds no reading"
            why = "A session without readings counts for nothing."
            yield Finding("warning", "no-reading", session.where, what, why, "add readings or a lot, or 'void: why'")
        for name, reading in session.readings.items():
            ids = name.split("+")
            if len(ids) != len(kind.pieces):
                what = f"'{name}' should name {_listed(kind.pieces)}"
                why = "Without both ids, the weight belongs to no pair."
                remedy = f"write it like {'+'.join(_example_id(part) for part in kind.pieces)}"
                yield Finding("error", "piece-name", reading.where_name, what, why, remedy)
                continue
            for part_kind, piece in zip(kind.pieces, ids, strict=True):
                if part_kind in listed and piece not in listed[part_kind]:
                    what = f"{kind_words(part_kind)} {piece} is weighed, and no part lists it"
                    why = "The weight belongs to a piece that is not in this engine, or to another one."
                    remedy = did_you_mean(piece, sorted(listed[part_kind]), "list it in parts.yaml")
                    yield Finding("error", "unlisted", reading.where_name, what, why, remedy)


def _example_id(part_kind: str) -> str:
    return {"piston": "P1", "pin": "N1"}.get(part_kind, "X1")


def weights_are_more_than_nothing(build: Build, figures: "Figures") -> Iterator[Finding]:
    for session in build.weighings:
        readings = [*session.readings.values(), *([session.lot.total] if session.lot else [])]
        for reading in readings:
            if any(value.number <= 0 for value in reading.values):
                why = "A piece weighs more than nothing; the scale was not zeroed, or the sign slipped."
                yield Finding("error", "weight", reading.where, "a weight is zero or less", why, "weigh it again")


def lots_say_how_many_go_where(build: Build, figures: "Figures") -> Iterator[Finding]:
    """A wrong count of shells or locks goes straight into the bobweight."""
    cylinders = len(figures.layout.cylinders) if figures.has_layout else 0
    counted = {part.kind: part.count for part in build.parts if part.count is not None}
    why = "As many as are said to go into each cylinder are counted into its throw's bobweight."
    for session in build.weighings:
        kind = WEIGHING_KINDS.get(session.what)
        if kind is None or session.void is not None:
            continue
        lot = session.lot
        if lot is not None and not lot.said:
            what = f"{session.id} does not say how many of the {kind.title} each cylinder has"
            yield Finding("error", "lot", lot.total.where, what, why, "add per_cylinder: 2, or as many as there are")
        elif lot is not None and (count := counted.get(kind.pieces[0])) and lot.per_cylinder * cylinders != count:
            what = f"{lot.per_cylinder} for each of {cylinders} cylinders are not the {count} that parts.yaml counts"
            yield Finding("warning", "lot", lot.total.where, what, why, "correct per_cylinder, or the count")
        elif lot is None and not kind.each and cylinders and len(session.readings) > cylinders:
            what = f"{len(session.readings)} readings of {kind.title} for {cylinders} cylinders"
            remedy = "a reading is what one cylinder has: weigh its shells or locks together, or enter them as a lot"
            yield Finding("error", "lot", session.where_what, what, why, remedy)


def _on_their_scales(build: Build) -> Iterator[tuple[WeighingSession, Instrument]]:
    """The weighings that count, each with its scale, where it was one."""
    for session in build.weighings:
        scale = build.shop.instruments.get(session.with_ or "")
        if session.void is None and scale is not None and scale.weighs:
            yield session, scale


def digits_are_those_of_the_scale(build: Build, figures: "Figures") -> Iterator[Finding]:
    for session, scale in _on_their_scales(build):
        if scale.resolution is None:
            continue
        step = scale.resolution.worth("g")
        for name, reading in session.readings.items():
            coarse = [value for value in reading.values if value.last_digit("g") > step]
            if coarse:
                what = f"{name}: {coarse[0].text} has fewer digits than {session.with_} shows"
                why = "The last digit written says how well it was read, so this weight counts as less sure."
                remedy = "write every digit the scale showed, with a zero at the end if it was one"
                yield Finding("warning", "digits", reading.where, what, why, remedy)


def scales_carry_what_they_read(build: Build, figures: "Figures") -> Iterator[Finding]:
    for session, scale in _on_their_scales(build):
        most = scale.capacity
        if most is None or most.dimension != "mass":
            continue
        lot = [("the lot", session.lot.total)] if session.lot else []
        for name, reading in (*session.readings.items(), *lot):
            beyond = [value for value in reading.values if value.worth("g") > most.worth("g")]
            if beyond:
                what = f"{name}: {beyond[0].text} is more than {session.with_} can carry ({most.text})"
                why = "It was another scale, or another number; one that carries too much reads wrong."
                remedy = "name the scale that was used, or weigh it again on one that carries it"
                yield Finding("warning", "capacity", reading.where, what, why, remedy)


def lists_are_entered_once(build: Build, figures: "Figures") -> Iterator[Finding]:
    """A list entered twice would pass for a second weighing that agrees, and settle the doubts of the first."""
    seen: dict[object, str | None] = {}
    for session, _ in _on_their_scales(build):
        read = tuple((name, *(value.text for value in each.values)) for name, each in session.readings.items())
        same = (session.what, session.by, session.with_, session.taken.day if session.taken else None, read)
        if len(read) >= FEWEST_FELLOWS and same in seen:
            what = f"{session.id} reads as {seen[same]} does, digit by digit"
            why = "A list that was entered twice looks like this, and would pass for a second weighing that agrees."
            yield Finding(
                "note", "entered-twice", session.where, what, why, "if it was, add to it 'void: entered twice'"
            )
        seen.setdefault(same, session.id)


def scale_held_its_zero(build: Build, figures: "Figures") -> Iterator[Finding]:
    """The check weight of a session should read its nominal within what the scale can tell (k = 2)."""
    for session, scale in _on_their_scales(build):
        check = session.check_weight
        if check is None or scale.resolution is None:
            continue
        step, spread = (float(each.worth("g")) if each else 0.0 for each in (scale.resolution, scale.repeatability))
        told = max(step, 2 * gum.combined(gum.resolution(step), spread) + step)
        for name, weight in (("before", check.before), ("after", check.after)):
            off = float(weight.worth("g") - check.nominal.worth("g")) if weight else 0.0
            if abs(off) > told:
                what = f"the check weight read {fixed(off, 2, sign=True)} g off {name} {session.id}"
                why = "Every weight of this session is off by about as much."
                yield Finding("warning", "check-weight", session.where, what, why, "zero the scale and weigh again")


def ends_add_up_to_the_rod(build: Build, figures: "Figures") -> Iterator[Finding]:
    yield from _adds_up(
        figures, ("rod_big_end", "rod_small_end"), "rod", "hang the rod level and weigh both ends again"
    )


def piston_and_pin_add_up(build: Build, figures: "Figures") -> Iterator[Finding]:
    yield from _adds_up(figures, ("piston", "pin"), "piston_with_pin", "weigh the piston, the pin, and both again")


def _adds_up(figures: "Figures", parts: tuple[str, str], whole: str, remedy: str) -> Iterator[Finding]:
    summaries = [figures.weighings.get(what) for what in (*parts, whole)]
    if not all(summaries):
        return
    first, second, both = (summary.pieces for summary in summaries if summary)
    for name, together in both.items():
        names = name.split("+") if "+" in name else [name, name]
        one, other = first.get(names[0]), second.get(names[-1])
        if one is None or other is None:
            continue
        off = float(one.weight + other.weight - together.weight)
        told = 2 * gum.combined(one.uncertainty, other.uncertainty, together.uncertainty)
        if abs(off) > max(told, 1e-9):
            titles = [WEIGHING_KINDS[what].title for what in (*parts, whole)]
            what = (
                f"{name}: {titles[0]} {fixed(one.weight, one.decimals)} + {titles[1]} "
                f"{fixed(other.weight, other.decimals)} is {fixed(off, together.decimals + 1, sign=True)} g off "
                f"the {titles[2]}, {fixed(together.weight, together.decimals)}"
            )
            why = f"The three agree within {fixed(told, 2)} g when all is well (k = 2); one of them is wrong."
            yield Finding("warning", "does-not-add-up", together.where, what, why, remedy)


def readings_are_among_their_fellows(build: Build, figures: "Figures") -> Iterator[Finding]:
    for summary in figures.weighings.values():
        yield from _far_from_fellows(summary)
        yield from _readings_that_disagree(summary)


def _far_from_fellows(summary: KindSummary) -> Iterator[Finding]:
    weights = sorted(piece.weight for piece in summary.pieces.values())
    if len(weights) < FEWEST_FELLOWS:
        return
    deviation = gum.standard_deviation([float(weight) for weight in weights])
    critical = GRUBBS[min(len(weights) - FEWEST_FELLOWS, len(GRUBBS) - 1)]
    middle = weights[len(weights) // 2]
    for piece in summary.pieces.values():
        # a set matched better than the scale can tell has no outliers; two slips may hide each other from the test
        out = abs(float(piece.weight - summary.mean)) > max(critical * deviation, summary.smallest_difference)
        if (out or abs(piece.weight - middle) > GROSS * middle) and not _confirmed(piece):
            others = (summary.mean * summary.count - piece.weight) / (summary.count - 1)
            weight, away = fixed(piece.weight, piece.decimals), fixed(piece.weight - others, 1, sign=True)
            what = f"{piece.piece} weighs {weight} g, {away} g from the mean of its fellows"
            why = "A slip of the hand or the eye looks like this; so does a piece from another set."
            remedy = "weigh it again: if it is so, a second session that agrees settles it"
            yield Finding("warning", "far-off", piece.where, what, why, remedy)


def _confirmed(piece: PieceWeight) -> bool:
    """Whether another reading of the piece, of this session or an earlier one, agrees with it."""
    told = gum.smallest_difference(piece.uncertainty)
    others = [*piece.readings[1:], *(earlier.weight for earlier in piece.earlier)]
    return any(abs(float(other - piece.weight)) <= told for other in others)


def _readings_that_disagree(summary: KindSummary) -> Iterator[Finding]:
    for piece in summary.pieces.values():
        apart = float(max(piece.readings) - min(piece.readings))
        told = gum.smallest_difference(piece.uncertainty * len(piece.readings) ** 0.5)
        if apart > told:
            what = f"the readings of {piece.piece} are {fixed(apart, piece.decimals)} g apart"
            why = f"This scale repeats within {fixed(told, 2)} g (k = 2)."
            yield Finding("warning", "disagree", piece.where, what, why, "weigh it again in a new session")


def pairing_fits_the_engine(build: Build, figures: "Figures") -> Iterator[Finding]:
    if not figures.has_layout:
        return
    cylinders = figures.layout.cylinders
    listed = {(part.kind, piece) for part in build.parts for piece in part.pieces}
    kinds = {part.kind for part in build.parts}
    has = f"the layout has cylinders {', '.join(cylinders)}"
    for lock in build.pairings.locks:
        if lock.cylinder is not None and lock.cylinder not in cylinders:
            why = "A lock on a cylinder that is not there holds nothing."
            yield Finding("error", "no-cylinder", lock.where, f"there is no cylinder {lock.cylinder}", why, has)
        for kind, piece in lock.pieces.items():
            yield from _not_listed(kind, piece, lock.where, listed, kinds)
    decision = build.pairings.decision
    placed: dict[tuple[str, str], str] = {}
    for cylinder, chosen in decision.cylinders.items() if decision else ():
        if cylinder not in cylinders:
            why = "A set for a cylinder that is not there leaves another one empty."
            yield Finding("error", "no-cylinder", chosen.where, f"there is no cylinder {cylinder}", why, has)
        for kind, piece in chosen.pieces.items():
            yield from _not_listed(kind, piece, chosen.where, listed, kinds)
            if (kind, piece) in placed:
                what = f"{kind_words(kind)} {piece} is in cylinder {placed[kind, piece]} and in cylinder {cylinder}"
                why = "One piece cannot be in two places: another was meant for one of them."
                yield Finding("error", "two-places", chosen.where, what, why, "look at the stamps and correct one")
            placed.setdefault((kind, piece), cylinder)


def _not_listed(
    kind: str, piece: str, where: Where, listed: set[tuple[str, str]], kinds: set[str]
) -> Iterator[Finding]:
    if kind in kinds and (kind, piece) not in listed:
        what = f"{kind_words(kind)} {piece} is placed, and no part lists it"
        why = "The piece is not in this engine, or goes by another id."
        alike = sorted(each for each_kind, each in listed if each_kind == kind)
        remedy = did_you_mean(piece, alike, "list it in parts.yaml")
        yield Finding("error", "unlisted", where, what, why, remedy)


def locks_agree(build: Build, figures: "Figures") -> Iterator[Finding]:
    why = "What contradicts itself cannot be kept, and what holds nothing was meant otherwise."
    held: dict[tuple[str, str], str] = {}
    places: dict[tuple[str, str], str] = {}
    for lock in build.pairings.locks:
        if len(lock.pieces) + (lock.cylinder is not None) < 2:
            what = "this lock names only one thing, and so holds nothing"
            yield Finding("error", "lock", lock.where, what, why, "name a piece and its cylinder, or two pieces")
        for kind, piece in lock.pieces.items() if lock.cylinder is not None else ():
            assert lock.cylinder is not None
            elsewhere = held.setdefault((kind, piece), lock.cylinder)
            other = places.setdefault((kind, lock.cylinder), piece)
            if elsewhere != lock.cylinder:
                what = f"{kind_words(kind)} {piece} is locked to cylinder {elsewhere} and to cylinder {lock.cylinder}"
                yield Finding("error", "lock", lock.where, what, why, "delete one of the two locks")
            if other != piece:
                word = kind_words(kind)
                what = f"{word} {other} and {word} {piece} are both locked to cylinder {lock.cylinder}"
                yield Finding("error", "lock", lock.where, what, why, "delete one of the two locks")


def every_cylinder_has_its_set(build: Build, figures: "Figures") -> Iterator[Finding]:
    pairing = figures.pairing if figures.has_layout else None
    for cylinder in pairing.cylinders.values() if pairing else ():
        assert pairing is not None
        chosen = pairing.decision.cylinders.get(cylinder.cylinder)
        lacking = [kind for kind in ("rod", "piston", "pin") if kind not in cylinder.pieces]
        if chosen is None or not cylinder.pieces:
            what = f"cylinder {cylinder.cylinder} has no set"
        elif lacking:
            what = f"cylinder {cylinder.cylinder} names no {' and no '.join(lacking)}"
        else:
            continue
        why = "At assembly, nobody could say what goes into it."
        where = chosen.where if chosen else pairing.decision.where
        yield Finding("warning", "no-set", where, what, why, "match again: buildbook match --write")


def pairing_rests_on_sessions_that_count(build: Build, figures: "Figures") -> Iterator[Finding]:
    decision = build.pairings.decision
    sessions: dict[str | None, Entry] = {session.id: session for session in (*build.weighings, *build.clearances)}
    for name in decision.from_ if decision else ():
        session = sessions.get(name)
        if session is None or session.void is not None:
            assert decision is not None
            what = f"the pairing rests on {name}, which is {'void' if session else 'in no file of this build'}"
            why = "The weights it was decided by no longer count."
            yield Finding("warning", "rests-on", decision.where, what, why, "match again: buildbook match --write")


def pairing_is_still_so(build: Build, figures: "Figures") -> Iterator[Finding]:
    if not figures.has_layout or figures.pairing is None:
        return
    for cylinder in figures.pairing.cylinders.values():
        chosen = figures.pairing.decision.cylinders.get(cylinder.cylinder)
        if chosen is None:
            continue
        for broken in cylinder.broken_locks:
            what = f"cylinder {cylinder.cylinder}: {broken}"
            why = "A piece that was fitted to its place is drawn in another on the map."
            remedy = "correct the pairing, or take the lock away"
            yield Finding("error", "lock-broken", chosen.where, what, why, remedy)
        for change in cylinder.weighed_again:
            what = f"cylinder {cylinder.cylinder}: {change} since the pairing was decided"
            why = "The sums that the pairing rests on have changed."
            yield Finding("warning", "changed-since", chosen.where, what, why, "match again: buildbook match --write")


def spread_is_within_its_limit(build: Build, figures: "Figures") -> Iterator[Finding]:
    pairing = figures.pairing if figures.has_layout else None
    limit = build.limits.get("reciprocating_spread")
    most = limit.bounds.get("max") if limit else None
    if pairing is None or pairing.spread is None or most is None or pairing.spread <= most.worth("g"):
        return
    what = (
        f"the reciprocating weights differ by {fixed(pairing.spread, 2)} g; the limit is {fixed(most.worth('g'), 2)} g"
    )
    why = "A cylinder that is heavier than its fellows shakes the engine at every turn."
    remedy = "'buildbook match' shows the best pairing, and the least grinding if that is not enough"
    yield Finding("warning", "spread", pairing.decision.where, what, why, remedy)


def bobweights_are_as_worked_out(build: Build, figures: "Figures") -> Iterator[Finding]:
    if not figures.has_layout or build.spins.bobweights is None:
        return
    worked_out = figures.bobweights
    for throw, reading in build.spins.bobweights.set.items():
        if throw not in figures.layout.throws:
            what = f"a bobweight is set on throw {throw}, and the layout has no such throw"
            why = "It was on another throw, or the layout is wrong."
            remedy = f"the throws are {', '.join(figures.layout.throws)}"
            yield Finding("error", "no-throw", reading.where_name, what, why, remedy)
    for each in worked_out.set.values():
        if each.within_limit is False and each.from_target is not None:
            way = "heavier" if each.from_target > 0 else "lighter"
            what = f"the bobweight of throw {each.throw} is {fixed(abs(each.from_target), 2)} g {way} than its target"
            why = "A bobweight that is off leaves its error in the crankshaft."
            yield Finding("warning", "bobweight", each.where, what, why, "set it again, to the limit of build.yaml")


def _listed(names: Iterable[str]) -> str:
    return " and ".join(names)


RULES: tuple[Rule, ...] = (
    layout_holds_together,
    pieces_have_one_id_each,
    records_have_one_id_each,
    records_say_when_by_whom_with_what,
    records_come_after_the_opening,
    instruments_are_in_calibration,
    weights_come_from_a_scale,
    weighed_pieces_are_listed,
    weights_are_more_than_nothing,
    lots_say_how_many_go_where,
    digits_are_those_of_the_scale,
    scales_carry_what_they_read,
    lists_are_entered_once,
    scale_held_its_zero,
    ends_add_up_to_the_rod,
    piston_and_pin_add_up,
    readings_are_among_their_fellows,
    pairing_fits_the_engine,
    locks_agree,
    every_cylinder_has_its_set,
    pairing_rests_on_sessions_that_count,
    pairing_is_still_so,
    spread_is_within_its_limit,
    bobweights_are_as_worked_out,
    *spin_rules.RULES,
)

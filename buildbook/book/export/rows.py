"""The records of a book as rows: one for each reading, with the digits as they were written beside the number."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from buildbook.figures import Figures
from buildbook.figures.named import named_figures
from buildbook.figures.weighings import in_order
from buildbook.quantities import DIMENSIONS, Quantity, fixed
from buildbook.records.model import MEASUREMENT_KINDS, Build, Engine, Entry, Shop, Step
from buildbook.records.read import CHANGE_NUMBERS, CHANGE_WORDS
from buildbook.records.tree import ListNode, MapNode, Node

Value = str | int | float | None
Row = Sequence[Value]


@dataclass(frozen=True)
class Exported:
    """What goes out: the shop, the engines, the builds with their figures, and every file's tree by its path. Of the
    builds in `without_figures` the records go out, and no figures: they hold an error."""

    shop: Shop
    engines: Sequence[Engine]
    builds: Sequence[Figures]
    files: Sequence[tuple[str, MapNode]]
    without_figures: frozenset[str]


def both(quantity: Quantity | None, unit: str | None = None) -> tuple[float | None, str | None]:
    """A number in a unit (or else the first of its dimension), and as it was written."""
    if quantity is None:
        return None, None
    return float(quantity.worth(unit or DIMENSIONS[quantity.dimension][0])), quantity.written


def _entry(entry: Entry) -> tuple[Value, ...]:
    """What every record says of itself."""
    return entry.taken.text if entry.taken else None, entry.by, entry.with_, entry.void, entry.note


def people(out: Exported) -> Iterator[Row]:
    for id_, person in out.shop.people.items():
        yield id_, person.name, person.email


def instruments(out: Exported) -> Iterator[Row]:
    for id_, each in out.shop.instruments.items():
        stated = [both(quantity) for quantity in (each.resolution, each.repeatability, each.uncertainty, each.capacity)]
        dimension = next((q.dimension for q in (each.resolution, each.repeatability, each.uncertainty) if q), None)
        unit = DIMENSIONS[dimension][0] if dimension else None
        yield id_, each.kind, each.description, unit, *(value for pair in stated for value in pair)


def calibrations(out: Exported) -> Iterator[Row]:
    for id_, each in out.shop.instruments.items():
        for done, due in each.calibrations:
            yield id_, done.text if done else None, due.text if due else None


SIZES = ("bore", "stroke", "rod_length", "bore_spacing", "bank_offset", "main_journal", "rod_journal")


def engines(out: Exported) -> Iterator[Row]:
    for each in out.engines:
        layout = each.layout if isinstance(each.layout, str) or each.layout is None else "spelled out"
        sizes = [value for name in SIZES for value in both(getattr(each, name))]
        told = (each.description, each.family, each.owner_ref, each.owner_name, layout)
        yield each.name, *told, each.main_bearings, " ".join(each.firing_order), *sizes


def serials(out: Exported) -> Iterator[Row]:
    for each in out.engines:
        for part, serial in each.serials.items():
            yield each.name, part, serial


def builds(out: Exported) -> Iterator[Row]:
    for build in _each_build(out):
        balance = build.balance
        choices = (balance.factor, balance.leave)
        numbers = [None if each is None else float(each) for each in choices]
        opened = build.opened.text if build.opened else None
        yield (
            *(build.name, build.engine.name, build.follows, build.purpose, build.use, opened, *numbers, balance.grade),
            *(*both(balance.oil), *both(balance.max_speed), *both(build.intake_closes)),
        )


def _each_build(out: Exported) -> Iterator[Build]:
    return (figures.build for figures in out.builds)


def limits(out: Exported) -> Iterator[Row]:
    for build in _each_build(out):
        for name, limit in build.limits.items():
            for bound, quantity in limit.bounds.items():
                value, text = both(quantity)
                yield build.name, name, bound, value, DIMENSIONS[quantity.dimension][0], text, limit.source
            for bound, share in limit.per_mm.items():
                yield build.name, name, bound, float(share), "for each mm of diameter", str(share), limit.source
            for bound, ratio in limit.ratios.items():
                yield build.name, name, bound, float(ratio), "ratio", str(ratio), limit.source


def parts(out: Exported) -> Iterator[Row]:
    for build in _each_build(out):
        for number, part in enumerate(build.parts, start=1):
            told = (part.maker, part.number, part.state, part.material, part.uses)
            sizes = (*both(part.mass), *both(part.density), *both(part.undersize))
            yield build.name, number, part.kind, len(part.pieces), *told, *sizes


def stated(out: Exported) -> Iterator[Row]:
    for build in _each_build(out):
        for number, part in enumerate(build.parts, start=1):
            for what, quantity in part.stated.items():
                value, text = both(quantity)
                yield build.name, number, part.kind, what, value, DIMENSIONS[quantity.dimension][0], text


def pieces(out: Exported) -> Iterator[Row]:
    for build in _each_build(out):
        decision = build.pairings.decision
        chosen = decision.cylinders.items() if decision else ()
        places = {(kind, piece): name for name, each in chosen for kind, piece in each.pieces.items()}
        for number, part in enumerate(build.parts, start=1):
            for stamped in part.ids:
                yield build.name, number, part.kind, stamped.id, part.state, places.get((part.kind, stamped.id))


def weighings(out: Exported) -> Iterator[Row]:
    for figures in out.builds:
        for session in figures.build.weighings:
            summary = figures.weighings.get(session.what)
            check = session.check_weight
            checked = (check.nominal, check.before, check.after) if check else (None, None, None)
            for piece, reading in session.readings.items():
                counted = summary.pieces.get(piece) if summary else None
                counts = int(counted is not None and counted.session is session)
                for number, quantity in enumerate(reading.values, start=1):
                    yield (
                        *(figures.build.name, session.id, session.what, piece, number, *both(quantity, "g"), counts),
                        *(*_entry(session), *(value for each in checked for value in both(each, "g"))),
                    )


def lots(out: Exported) -> Iterator[Row]:
    for figures in out.builds:
        build = figures.build
        last = {each.what: each for each in in_order(build.weighings) if each.lot is not None and each.void is None}
        for session in build.weighings:
            if session.lot is None:
                continue
            summary, lot = figures.weighings.get(session.what), session.lot
            counts = int(last.get(session.what) is session and summary is not None and not summary.pieces)
            for number, quantity in enumerate(lot.total.values, start=1):
                yield (
                    *(build.name, session.id, session.what, lot.pieces, lot.per_cylinder, number, *both(quantity, "g")),
                    *(counts, *_entry(session)),
                )


def pairings(out: Exported) -> Iterator[Row]:
    for build in _each_build(out):
        for number, decision in enumerate(build.pairings.decisions, start=1):
            taken = decision.taken.text if decision.taken else None
            why = (decision.how, " ".join(decision.from_), decision.because)
            counts = int(decision is build.pairings.decision)
            for cylinder, chosen in decision.cylinders.items():
                for kind, piece in chosen.pieces.items():
                    yield build.name, number, cylinder, kind, piece, counts, taken, decision.by, *why


def locks(out: Exported) -> Iterator[Row]:
    for build in _each_build(out):
        for number, lock in enumerate(build.pairings.locks, start=1):
            for kind, piece in lock.pieces.items():
                yield build.name, number, kind, piece, lock.cylinder, lock.because


def bobweights(out: Exported) -> Iterator[Row]:
    for build in _each_build(out):
        record = build.spins.bobweights
        for throw, reading in record.set.items() if record else ():
            assert record is not None
            taken = record.taken.text if record.taken else None
            for number, quantity in enumerate(reading.values, start=1):
                weights = (*both(quantity, "g"), *both(record.target, "g"))
                yield build.name, throw, number, *weights, taken, record.by, record.with_


def planes(out: Exported) -> Iterator[Row]:
    for build in _each_build(out):
        angles = build.spins.angles
        counted = (angles.zero, angles.positive, angles.reading) if angles else (None, None, None)
        for name, plane in build.spins.planes.items():
            yield build.name, name, *both(plane.position), *both(plane.radius), *counted


def _steps(out: Exported) -> Iterator[tuple[Build, int, Step]]:
    for build in _each_build(out):
        for number, step in enumerate(build.spins.steps, start=1):
            yield build, number, step


def spins(out: Exported) -> Iterator[Row]:
    for build, number, step in _steps(out):
        spin = step.spin
        for plane, reading in spin.readings.items() if spin else ():
            assert spin is not None
            shown = (*both(reading.amount, "g"), *both(reading.angle))
            spun = (*both(spin.speed), " ".join(spin.carrying))
            yield build.name, number, step.id, plane, *shown, *spun, int(step.void is None), *_entry(step)


def corrections(out: Exported) -> Iterator[Row]:
    for build, number, step in _steps(out):
        if step.change is None:
            continue
        words = (step.change.words.get(name) for name in CHANGE_WORDS)
        numbers = (value for name in CHANGE_NUMBERS for value in both(step.change.numbers.get(name)))
        counts = int(step.void is None)
        yield build.name, number, step.id, step.change.kind, *words, *numbers, counts, *_entry(step)


def measurements(out: Exported) -> Iterator[Row]:
    for figures in out.builds:
        for session in figures.build.clearances:
            unit = DIMENSIONS[MEASUREMENT_KINDS[session.what].dimension][0]
            for spot in session.spots:
                known = figures.measured.get(session.what, {}).get(spot.place)
                counted = {size.where for size in known.readings if size.session is session} if known else set()
                counts = int(spot.reading.where in counted)
                for number, quantity in enumerate(spot.reading.values, start=1):
                    value, text = both(quantity, unit)
                    yield (
                        *(figures.build.name, session.id, session.what, spot.place, spot.along or None),
                        *(spot.within or None, number, value, unit, text, counts),
                        *(*_entry(session), *both(session.temperature)),
                    )


def asked(out: Exported) -> Iterator[Row]:
    for build in _each_build(out):
        for session in build.clearances:
            for number, quantity in enumerate(session.asked, start=1):
                value, text = both(quantity)
                yield build.name, session.id, number, value, DIMENSIONS[quantity.dimension][0], text


def sign_offs(out: Exported) -> Iterator[Row]:
    for build in _each_build(out):
        for each in build.sign_offs:
            taken = each.taken.text if each.taken else None
            yield build.name, each.id, each.stage, each.version, each.digest, taken, each.by, each.note


def signed_figures(out: Exported) -> Iterator[Row]:
    for build in _each_build(out):
        for each in build.sign_offs:
            for name, figure in each.figures.items():
                yield build.name, each.id, name, figure.text


def reopened(out: Exported) -> Iterator[Row]:
    for build in _each_build(out):
        for each in build.reopened:
            taken = each.taken.text if each.taken else None
            yield build.name, each.id, each.sign_off, each.because, taken, each.by


def figures(out: Exported) -> Iterator[Row]:
    for figures in out.builds:
        if figures.build.name in out.without_figures:
            continue
        for name, each in named_figures(figures).items():
            shown = fixed(each.value, each.decimals)
            unit = each.unit or "ratio"
            yield figures.build.name, name, each.kind, each.place, float(each.value), each.uncertainty, unit, shown


def as_written(out: Exported) -> Iterator[Row]:
    for file, root in out.files:
        for path, node in _leaves(root, ""):
            yield file, node.where.line, path, node.text


def _leaves(node: Node, path: str) -> Iterator[tuple[str, Any]]:
    if isinstance(node, MapNode):
        for name, inner in node.items():
            yield from _leaves(inner, f"{path}.{name}" if path else name)
    elif isinstance(node, ListNode):
        for number, inner in enumerate(node.items, start=1):
            yield from _leaves(inner, f"{path}[{number}]")
    else:
        yield path, node

"""What goes into each cylinder, what of it goes up and down, and what goes round with the crankpin."""

from collections.abc import Iterator, Mapping
from fractions import Fraction
from typing import NamedTuple

from buildbook import uncertainty as gum
from buildbook.balance.bobweights import CylinderWeights, Weighed
from buildbook.balance.layouts import Layout, LayoutError, known_layout, spelled_layout
from buildbook.figures.weighings import KindSummary, PieceWeight
from buildbook.records.model import WEIGHING_KINDS, Build, Decision, Engine, SpelledLayout

# A piston with its pin may be weighed together instead of apart; apart leaves the matcher more choice.
APART, TOGETHER = ("piston", "pin"), ("piston_with_pin",)


class CylinderFigure(NamedTuple):
    """One cylinder as decided: its pieces, and its reciprocating weight [g] where all of it has been weighed."""

    cylinder: str
    throw: str
    bank: str
    pieces: Mapping[str, str]  # kind of part → id
    reciprocating: Fraction | None
    uncertainty: float  # standard uncertainty of the reciprocating weight [g]
    from_mean: Fraction | None  # how far above the mean of all cylinders [g]
    broken_locks: tuple[str, ...]
    unlisted: tuple[str, ...]  # pieces that the parts list no longer has
    weighed_again: tuple[str, ...]  # pieces whose weight is no longer the one that it was decided by

    @property
    def changed(self) -> tuple[str, ...]:
        """What is no longer as it was when it was decided, in words: the gravest first."""
        return (*self.broken_locks, *self.unlisted, *self.weighed_again)


class PairingFigure(NamedTuple):
    """The pairing as decided, cylinder by cylinder; `spread` is heaviest less lightest [g], once all is weighed."""

    decision: Decision
    cylinders: Mapping[str, CylinderFigure]
    mean: Fraction | None
    spread: Fraction | None

    @property
    def complete(self) -> bool:
        """Whether a set is named for every cylinder."""
        return all(each.pieces for each in self.cylinders.values())


def layout_of(build: Build) -> Layout:
    """The layout of a build's engine, known by name or spelled out. Raises LayoutError."""
    return layout_of_engine(build.engine)


def layout_of_engine(engine: Engine) -> Layout:
    layout = engine.layout
    if layout is None:
        raise LayoutError("engine.yaml names no layout")
    if isinstance(layout, SpelledLayout):
        return spelled_layout(
            {bank: float(angle.worth("deg")) for bank, angle in layout.banks.items()},
            {
                name: (
                    float(throw.angle.worth("deg")),
                    {
                        cylinder: bank if own is None else (bank, float(own.worth("deg")))
                        for cylinder, (bank, own) in throw.cylinders.items()
                    },
                )
                for name, throw in layout.throws.items()
            },
        )
    return known_layout(layout)


def kinds_to_weigh(build: Build, weighings: Mapping[str, KindSummary]) -> tuple[str, ...]:
    """The kinds of weighing that this build's bobweights are made of.

    Rods, pistons, pins, rings and bearings always; pin locks where the parts list names them or they were weighed.
    A piston weighed with its pin stands for both where they were not weighed apart.
    """
    has_locks = "pin_locks" in weighings or any(part.kind == "pin_locks" for part in build.parts)
    together = "piston_with_pin" in weighings and not all(what in weighings for what in APART)
    leave_out = {*(APART if together else TOGETHER), *(() if has_locks else ("pin_locks",))}
    return tuple(what for what, kind in WEIGHING_KINDS.items() if kind.moves != "neither" and what not in leave_out)


def not_weighed(build: Build, what: str, summary: KindSummary | None) -> tuple[list[str], int]:
    """The pieces of this kind that the parts list names and nobody weighed, of how many; none for small things, where
    the mean of some stands for all."""
    kind = WEIGHING_KINDS[what]
    listed = [piece for part in build.parts if part.kind == kind.pieces[0] and part.fitted for piece in part.pieces]
    weighed = {name.split("+")[0] for name in summary.pieces} if summary else set()
    return [piece for piece in listed if kind.each and piece not in weighed], len(listed)


def reading_name(what: str, pieces: Mapping[str, str]) -> str | None:
    """The name that a reading of these pieces has: `R6`, or `P7+N7` for a piston with its pin."""
    parts = [pieces.get(kind) for kind in WEIGHING_KINDS[what].pieces]
    return "+".join(part for part in parts if part) if all(parts) else None


def weighed(what: str, summary: KindSummary | None, pieces: Mapping[str, str] | None) -> Weighed | None:
    """What these pieces weigh of one kind, or None where it has not been weighed.

    Without pieces (nothing is matched yet) the mean stands for any piece; for small things it does so whenever the
    piece itself was not weighed.
    """
    if summary is None:
        return None
    kind = WEIGHING_KINDS[what]
    name = reading_name(what, pieces) if pieces is not None else None
    piece = summary.pieces.get(name) if name is not None else None
    if piece is not None:
        session = piece.session.id or str(piece.session.where)
        return Weighed(kind.title, piece.weight, piece.own_uncertainty, piece.piece, 1, piece.drift, session)
    if pieces is None or not kind.each:
        count, drift = summary.per_cylinder, summary.drift
        return Weighed(kind.title, summary.mean, summary.mean_uncertainty, "", count, drift, f"mean of {what}")
    return None


def cylinder_weights(
    kinds: tuple[str, ...], weighings: Mapping[str, KindSummary], pieces: Mapping[str, str] | None
) -> tuple[CylinderWeights, tuple[str, ...]]:
    """What one cylinder hangs on its crankpin, and the kinds of weighing that are missing for it."""
    moving: dict[str, list[Weighed]] = {"reciprocating": [], "rotating": []}
    missing = []
    for what in kinds:
        found = weighed(what, weighings.get(what), pieces)
        if found is None:
            missing.append(what)
        else:
            moving[WEIGHING_KINDS[what].moves].append(found)
    return CylinderWeights(tuple(moving["reciprocating"]), tuple(moving["rotating"])), tuple(missing)


def pairing_figure(
    build: Build, layout: Layout, kinds: tuple[str, ...], weighings: Mapping[str, KindSummary]
) -> PairingFigure | None:
    """The pairing that was decided last, with what has been weighed since."""
    decision = build.pairings.decision
    if decision is None:
        return None
    reciprocating: dict[str, tuple[Fraction | None, float]] = {}
    for cylinder in layout.cylinders:
        chosen = decision.cylinders.get(cylinder)
        weights, missing = cylinder_weights(kinds, weighings, chosen.pieces if chosen else {})
        complete = not any(WEIGHING_KINDS[what].moves == "reciprocating" for what in missing)
        weight = sum((each.weight * each.count for each in weights.reciprocating), Fraction(0))
        terms = [gum.combined(each.uncertainty, each.shared) * each.count for each in weights.reciprocating]
        uncertainty = gum.combined(*terms)
        reciprocating[cylinder] = (weight if complete and chosen else None, uncertainty)
    sums = [total for total, _ in reciprocating.values() if total is not None]
    mean = sum(sums, Fraction(0)) / len(sums) if sums else None
    cylinders = {}
    for cylinder, place in layout.cylinders.items():
        chosen = decision.cylinders.get(cylinder)
        pieces = chosen.pieces if chosen else {}
        total, uncertainty = reciprocating[cylinder]
        cylinders[cylinder] = CylinderFigure(
            cylinder=cylinder,
            throw=place.throw,
            bank=place.bank,
            pieces=pieces,
            reciprocating=total,
            uncertainty=uncertainty,
            from_mean=total - mean if total is not None and mean is not None else None,
            broken_locks=tuple(_broken_locks(build, cylinder, pieces)),
            unlisted=tuple(_unlisted(build, pieces)),
            weighed_again=tuple(_weighed_again(build, decision, pieces, kinds, weighings)),
        )
    complete = len(sums) == len(layout.cylinders)
    return PairingFigure(decision, cylinders, mean, max(sums) - min(sums) if complete else None)


def _unlisted(build: Build, pieces: Mapping[str, str]) -> Iterator[str]:
    listed = {(part.kind, piece) for part in build.parts for piece in part.pieces}
    kinds_listed = {part.kind for part in build.parts}
    for kind, piece in pieces.items():
        if kind in kinds_listed and (kind, piece) not in listed:
            yield f"{kind_words(kind)} {piece} is not in the parts list"


def _weighed_again(
    build: Build,
    decision: Decision,
    pieces: Mapping[str, str],
    kinds: tuple[str, ...],
    weighings: Mapping[str, KindSummary],
) -> Iterator[str]:
    for what in kinds:
        summary = weighings.get(what)
        name = reading_name(what, pieces)
        now = summary.pieces.get(name) if summary and name else None
        if now is None:
            continue
        known_then = [each for each in (*now.earlier, now) if _known_to(decision, each)]
        voided = any(each.what == what and each.void and each.id in decision.from_ for each in build.weighings)
        if known_then[-1].weight != now.weight if known_then else voided:
            yield f"{name} was weighed again ({WEIGHING_KINDS[what].title})"


def _broken_locks(build: Build, cylinder: str, pieces: Mapping[str, str]) -> Iterator[str]:
    """Locks that this cylinder's set does not keep; a cylinder without a set breaks none."""
    for lock in build.pairings.locks if pieces else ():
        held = [f"{kind_words(kind)} {piece}" for kind, piece in lock.pieces.items() if pieces.get(kind) == piece]
        others = [f"{kind_words(kind)} {piece}" for kind, piece in lock.pieces.items() if pieces.get(kind) != piece]
        if lock.cylinder == cylinder and others:
            yield f"lock broken: {' and '.join(others)} belongs here"
        elif held and lock.cylinder not in {None, cylinder}:
            yield f"lock broken: {' and '.join(held)} belongs in cylinder {lock.cylinder}"
        elif held and others and lock.cylinder is None:
            yield f"lock broken: {' and '.join(held)} belongs with {' and '.join(others)}"


def kind_words(kind: str) -> str:
    """A kind of part or of instrument, as a person writes it."""
    return kind.replace("_", " ")


def _known_to(decision: Decision, weight: PieceWeight) -> bool:
    """Whether the decision could rest on this weight: on its session by name, or else by the time."""
    if decision.from_:
        return weight.session.id in decision.from_
    if decision.taken is None or weight.session.taken is None:
        return True
    if not (weight.session.taken.has_time and decision.taken.has_time):
        return weight.session.taken.day <= decision.taken.day
    return weight.session.taken.instant <= decision.taken.instant

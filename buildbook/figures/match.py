"""The pairing that makes the reciprocating weight as even as it can be, and what it takes to meet the limit."""

from collections.abc import Container, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from buildbook import uncertainty as gum
from buildbook.balance.layouts import Layout
from buildbook.figures.cylinders import weighed
from buildbook.figures.weighings import KindSummary, PieceWeight
from buildbook.matching import Lock, Matching, MatchingError, Pool, Problem, least_grinding, match
from buildbook.quantities import in_numbered_order
from buildbook.records.model import WEIGHING_KINDS, Build


class Incomplete(Exception):
    """Nothing can be matched yet: its text says what is missing, in plain words."""


@dataclass(frozen=True, slots=True)
class MatchedCylinder:
    """One cylinder of the best pairing: its pieces, and its reciprocating weight [g]."""

    pieces: Mapping[str, str]  # kind of part → id
    reciprocating: Fraction
    from_mean: Fraction


@dataclass(frozen=True, slots=True)
class Grind:
    """Metal to take off one piece [g] so that the pairing meets its limit; or the weighed `spare` to fit in its place
    and match again."""

    cylinder: str
    what: str  # the kind of weighing it is taken off: the small end of a rod, say
    kind: str
    piece: str
    amount: Fraction
    spare: str | None


@dataclass(frozen=True, slots=True)
class MatchFigures:
    """The best pairing with its proof; weights in g. `tie` is what two spreads must differ by to be told apart."""

    matching: Matching
    cylinders: Mapping[str, MatchedCylinder]
    pools: tuple[str, ...]
    sessions: tuple[str, ...]  # the weighing sessions that it rests on
    tie: float
    limit: Fraction | None
    grinding: tuple[Grind, ...]

    @property
    def sets(self) -> dict[str, Mapping[str, str]]:
        """Cylinder → its pieces: kind of part → id."""
        return {name: cylinder.pieces for name, cylinder in self.cylinders.items()}

    @property
    def meets_limit(self) -> bool | None:
        return None if self.limit is None else self.matching.spread <= self.limit


def match_figures(
    build: Build,
    layout: Layout,
    kinds: tuple[str, ...],
    weighings: Mapping[str, KindSummary],
    seconds: float,
    pistons: Mapping[str, str] = {},
) -> MatchFigures:
    """The pairing of the least spread of reciprocating weight, see `matching.match`. Raises Incomplete.

    `pistons`: cylinder → the piston that its bore wants, and that is to stay there.

    What is the same for every cylinder (pin locks, rings weighed as a lot) is added to every sum. Two spreads tie
    where they differ by less than 2·√2·u, u being the standard uncertainty of one cylinder's sum.
    """
    reciprocating = [what for what in kinds if WEIGHING_KINDS[what].moves == "reciprocating"]
    cylinders = tuple(layout.cylinders)
    pools: dict[str, Pool] = {}
    constant = Fraction(0)
    reasons = []
    for what in reciprocating:
        names = _pieces_to_match(what, build, weighings)
        summary = weighings.get(what)
        unweighed = [name for name in names if summary is None or name not in summary.pieces]
        if summary is not None and not unweighed and len(names) == len(cylinders):
            pool = _pool_name(what)
            pools[what] = Pool(pool, {name: summary.pieces[name].weight for name in names})
        elif (same := weighed(what, summary, {})) is not None:
            constant += same.weight * same.count
        elif summary is None:
            reasons.append(f"no {WEIGHING_KINDS[what].title} has been weighed ({what})")
        elif unweighed:
            reasons.append(f"{what}: {', '.join(unweighed)} not weighed yet")
        else:
            remedy = (
                "mark what is over 'state: spare' in parts.yaml" if len(names) > len(cylinders) else "weigh the rest"
            )
            reasons.append(f"{what}: {len(names)} pieces for {len(cylinders)} cylinders ({remedy})")
    if reasons:
        raise Incomplete("; ".join(reasons))
    big_ends = _big_ends(pools, weighings)
    problem = Problem(
        cylinders=cylinders,
        pools=tuple(pools.values()),
        locks=(*_locks(build, pools), *_for_their_bores(pistons, pools)),
        tie=Fraction(gum.smallest_difference(_sum_uncertainty(reciprocating, weighings))),
        throws={cylinder: place.throw for cylinder, place in layout.cylinders.items()},
        big_ends=big_ends,
        big_end_tie=Fraction(weighings["rod_big_end"].smallest_difference) if big_ends else Fraction(0),
        placed=_placed(build, pools),
    )
    found = match(problem, seconds=seconds)
    limit = build.limits.get("reciprocating_spread")
    most = limit.bounds.get("max") if limit else None
    mean = sum(found.sums.values(), Fraction(0)) / len(found.sums)
    return MatchFigures(
        matching=found,
        cylinders={
            cylinder: MatchedCylinder(
                {
                    kind: piece
                    for what, pool in pools.items()
                    for kind, piece in _part_ids(what, found.cylinders[cylinder][pool.name])
                },
                found.sums[cylinder] + constant,
                found.sums[cylinder] - mean,
            )
            for cylinder in cylinders
        },
        pools=tuple(pools),
        sessions=_sessions(pools, weighings),
        tie=float(problem.tie),
        limit=most.worth("g") if most else None,
        grinding=tuple(_grinding(found, pools, most.worth("g"), weighings)) if most else (),
    )


def _pool_name(what: str) -> str:
    """The matcher's pools are named after the part, and its rods are the ones with big ends."""
    return "_with_".join(WEIGHING_KINDS[what].pieces)


def _pieces_to_match(what: str, build: Build, weighings: Mapping[str, KindSummary]) -> list[str]:
    """The pieces of this kind as they are numbered: those the parts list names, or else those weighed."""
    kind = WEIGHING_KINDS[what]
    listed = [piece for part in build.parts if part.kind == kind.pieces[0] and part.fitted for piece in part.pieces]
    summary = weighings.get(what)
    names = [name for name in (summary.pieces if summary else ()) if name.count("+") == len(kind.pieces) - 1]
    return sorted(names if len(kind.pieces) > 1 or not listed else listed, key=in_numbered_order)


def _locks(build: Build, pools: Mapping[str, Pool]) -> Iterator[Lock]:
    spares = {(part.kind, piece) for part in build.parts if not part.fitted for piece in part.pieces}
    for lock in build.pairings.locks:
        for kind, piece in spares.intersection(lock.pieces.items()):
            raise MatchingError(f"a lock names {kind} {piece}, which parts.yaml lists as a spare")
        held: dict[str, str] = {}
        for what, pool in pools.items():
            for name in pool.pieces:
                if any(lock.pieces.get(kind) == piece for kind, piece in _part_ids(what, name)):
                    if pool.name in held:
                        raise MatchingError(f"a lock parts {held[pool.name]} and {name}, which were weighed together")
                    held[pool.name] = name
        if len(held) > 1 or (held and lock.cylinder is not None):
            yield Lock(held, lock.cylinder)


def _for_their_bores(pistons: Mapping[str, str], pools: Mapping[str, Pool]) -> Iterator[Lock]:
    for what, pool in pools.items():
        names = {piece: name for name in pool.pieces for kind, piece in _part_ids(what, name) if kind == "piston"}
        for cylinder, piston in pistons.items():
            if piston in names:
                yield Lock({pool.name: names[piston]}, cylinder)


def _placed(build: Build, pools: Mapping[str, Pool]) -> dict[str, dict[str, str]]:
    decision = build.pairings.decision
    placed: dict[str, dict[str, str]] = {}
    for cylinder, chosen in decision.cylinders.items() if decision else ():
        for what, pool in pools.items():
            name = "+".join(chosen.pieces.get(kind, "") for kind in WEIGHING_KINDS[what].pieces)
            if name in pool.pieces:
                placed.setdefault(cylinder, {})[pool.name] = name
    return placed


def _big_ends(pools: Mapping[str, Pool], weighings: Mapping[str, KindSummary]) -> dict[str, Fraction]:
    rods = pools["rod_small_end"].pieces if "rod_small_end" in pools else {}
    summary = weighings.get("rod_big_end")
    known = summary.pieces if summary else {}
    return {rod: known[rod].weight for rod in rods} if all(rod in known for rod in rods) else {}


def _sum_uncertainty(reciprocating: list[str], weighings: Mapping[str, KindSummary]) -> float:
    return gum.combined(*(weighings[what].uncertainty * weighings[what].per_cylinder for what in reciprocating))


def _sessions(pools: Mapping[str, Pool], weighings: Mapping[str, KindSummary]) -> tuple[str, ...]:
    used = [weighings[what].pieces[name].session.id for what, pool in pools.items() for name in pool.pieces]
    return tuple(dict.fromkeys(session for session in used if session is not None))


def _part_ids(what: str, name: str) -> Iterator[tuple[str, str]]:
    """`P7+N7` is piston P7 and pin N7."""
    return zip(WEIGHING_KINDS[what].pieces, name.split("+"), strict=True)


def _grinding(
    found: Matching, pools: Mapping[str, Pool], limit: Fraction, weighings: Mapping[str, KindSummary]
) -> Iterator[Grind]:
    """Which piece of a heavy cylinder to take it from: the one farthest above the lightest of its own kind."""
    offered: set[str] = set()
    for cylinder, amount in least_grinding(found.sums, limit).items():
        above = {
            what: pool.pieces[found.cylinders[cylinder][pool.name]] - min(pool.pieces.values())
            for what, pool in pools.items()
        }
        what = max(above, key=lambda each: above[each])
        piece = found.cylinders[cylinder][_pool_name(what)]
        spare = _nearer_spare(piece, weighings[what], offered)
        offered |= {spare} if spare else set()
        yield Grind(cylinder, what, WEIGHING_KINDS[what].pieces[0], piece, amount, spare)


def _nearer_spare(piece: str, kind: KindSummary, offered: Container[str]) -> str | None:
    """The weighed spare that is nearest to the mean of the piece's fellows, where it is nearer than the piece."""
    fellows = [each.weight for name, each in kind.pieces.items() if name != piece]
    mean = sum(fellows, Fraction(0)) / len(fellows) if fellows else kind.mean

    def off(weight: PieceWeight) -> Fraction:
        return abs(weight.weight - mean)

    spares = [each for name, each in kind.spares.items() if name not in offered and off(each) < off(kind.pieces[piece])]
    return min(spares, key=off).piece if spares else None

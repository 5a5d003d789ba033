"""What is to be matched: pools of weighed pieces, the cylinders they go into, and what may not be changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction


class MatchingError(ValueError):
    """The pools or the locks contradict one another, so there is nothing that could be matched."""


@dataclass(frozen=True, slots=True)
class Pool:
    """The pieces of one kind, exactly one for each cylinder.

    name: "rod", "piston", "pin", "piston_with_pin", "ring_set" ...; "rod" is the pool that `big_ends` speaks of.
    pieces: piece id -> weight [g], in numbered order.
    """

    name: str
    pieces: Mapping[str, Fraction]


@dataclass(frozen=True, slots=True)
class Lock:
    """Pieces that stay together, in a named cylinder or in whichever: what the matcher may not change.

    pieces: pool name -> piece id; one piece and a cylinder, or two or more pieces and perhaps a cylinder.
    """

    pieces: Mapping[str, str]
    cylinder: str | None = None


@dataclass(frozen=True, slots=True)
class Problem:
    """One engine's pieces and cylinders.

    cylinders: in numbered order; "as numbered" puts each pool's i-th piece into the i-th cylinder.
    tie [g]: two spreads no further apart than this cannot be told apart by the scale.
    throws: cylinder -> throw (crankpin); empty, or every cylinder.
    big_ends: rod -> big-end weight [g]; empty, or every rod.
    big_end_tie [g]: the same as `tie`, for the spread of the big-end sums per throw.
    placed: cylinder -> {pool name: piece id}, where the pieces are now; empty means as numbered. Pieces that are
        nowhere now may be left out, and pieces that are in no pool (replaced since) are passed over.
    """

    cylinders: tuple[str, ...]
    pools: tuple[Pool, ...]
    locks: tuple[Lock, ...] = ()
    tie: Fraction = Fraction(0)
    throws: Mapping[str, str] = field(default_factory=dict)
    big_ends: Mapping[str, Fraction] = field(default_factory=dict)
    big_end_tie: Fraction = Fraction(0)
    placed: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Part:
    """Pieces that must share a cylinder: one free piece, or the pieces of all locks that hang together.

    pieces: pool's place in the problem -> piece's place in the pool.
    cylinder: the place of the cylinder it is locked to, or None.
    """

    pieces: Mapping[int, int]
    cylinder: int | None


def check(problem: Problem) -> None:
    """Raise MatchingError unless every pool has one piece for each cylinder and every name is known."""
    cylinders = problem.cylinders
    if not cylinders or not problem.pools:
        raise MatchingError("matching needs at least one cylinder and one pool of pieces")
    if len(set(cylinders)) != len(cylinders):
        raise MatchingError("a cylinder is named twice")
    names = [pool.name for pool in problem.pools]
    if len(set(names)) != len(names):
        raise MatchingError("a pool is named twice")
    for pool in problem.pools:
        if len(pool.pieces) != len(cylinders):
            raise MatchingError(
                f"{pool.name}: {len(pool.pieces)} weighed for {len(cylinders)} cylinders; "
                "matching needs exactly one for each"
            )
    if problem.tie < 0 or problem.big_end_tie < 0:
        raise MatchingError("a tie cannot be below zero")
    if problem.throws and (missing := [each for each in cylinders if each not in problem.throws]):
        raise MatchingError(f"no throw is named for cylinder {', '.join(missing)}")
    rods = next((pool.pieces for pool in problem.pools if pool.name == "rod"), {})
    if problem.big_ends and (missing := [rod for rod in rods if rod not in problem.big_ends]):
        raise MatchingError(f"no big-end weight for rod {', '.join(missing)}")


def parts_of(problem: Problem) -> list[Part]:
    """Every piece, gathered into the parts that the locks hold together; MatchingError where locks contradict."""
    nodes = _Nodes(problem)
    together: dict[tuple[int, int], tuple[int, int]] = {}

    def root(node: tuple[int, int]) -> tuple[int, int]:
        while together.get(node, node) != node:
            node = together[node]
        return node

    for lock in problem.locks:
        first, *others = nodes.of(lock)
        for other in others:
            together[root(other)] = root(first)

    gathered: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for node in nodes.all():
        gathered.setdefault(root(node), []).append(node)
    parts = []
    for members in gathered.values():
        pieces: dict[int, int] = {}
        cylinders = [place for pool, place in members if pool == _CYLINDER]
        for pool, place in members:
            if pool == _CYLINDER:
                continue
            if pool in pieces:
                one, two = (nodes.name(pool, each) for each in (pieces[pool], place))
                raise MatchingError(f"the locks put {one} and {two} into one cylinder")
            pieces[pool] = place
        if len(cylinders) > 1:
            one, two = (problem.cylinders[each] for each in cylinders[:2])
            which = " with ".join(nodes.name(pool, place) for pool, place in pieces.items())
            raise MatchingError(f"the locks put {which} into cylinder {one} and into cylinder {two}")
        if pieces:
            parts.append(Part(pieces, cylinders[0] if cylinders else None))
    return parts


def places_now(problem: Problem) -> list[list[int | None]]:
    """For each pool, the place of the cylinder that each of its pieces is in now, or None if it is nowhere."""
    if not problem.placed:
        return [list(range(len(problem.cylinders))) for _ in problem.pools]
    nodes = _Nodes(problem)
    homes: list[list[int | None]] = [[None] * len(problem.cylinders) for _ in problem.pools]
    for cylinder, pieces in problem.placed.items():
        where = nodes.cylinders.get(cylinder)
        for name, piece in pieces.items():
            pool = nodes.pools.get(name)
            if where is None or pool is None or piece not in nodes.pieces[pool]:
                continue
            place = nodes.pieces[pool][piece]
            if homes[pool][place] is not None:
                raise MatchingError(f"{name} {piece} is placed in two cylinders")
            homes[pool][place] = where
    return homes


_CYLINDER = -1


class _Nodes:
    """Pieces and cylinders by name as (pool's place, piece's place); a cylinder is (-1, its place)."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.cylinders = {name: place for place, name in enumerate(problem.cylinders)}
        self.pools = {pool.name: place for place, pool in enumerate(problem.pools)}
        self.pieces = [{piece: place for place, piece in enumerate(pool.pieces)} for pool in problem.pools]

    def all(self) -> Iterator[tuple[int, int]]:
        for pool in [*range(len(self.pools)), _CYLINDER]:
            for place in range(len(self.cylinders)):
                yield pool, place

    def name(self, pool: int, place: int) -> str:
        return f"{self.problem.pools[pool].name} {list(self.pieces[pool])[place]}"

    def of(self, lock: Lock) -> list[tuple[int, int]]:
        nodes = []
        for name, piece in lock.pieces.items():
            if name not in self.pools:
                raise MatchingError(f"a lock names the pool {name}, which is not being matched")
            pool = self.pools[name]
            if piece not in self.pieces[pool]:
                raise MatchingError(f"a lock names {name} {piece}, which is not among the weighed pieces")
            nodes.append((pool, self.pieces[pool][piece]))
        if lock.cylinder is not None:
            if lock.cylinder not in self.cylinders:
                raise MatchingError(f"a lock names cylinder {lock.cylinder}, which this engine does not have")
            nodes.append((_CYLINDER, self.cylinders[lock.cylinder]))
        if not lock.pieces or len(nodes) < 2:
            raise MatchingError("a lock needs a piece and a cylinder, or two pieces")
        return nodes

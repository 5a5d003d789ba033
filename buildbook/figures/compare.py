"""Two builds, or two states of one, compared by what they mean: pieces, figures, the old balance, choices, findings."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from functools import cached_property
from math import hypot, inf
from typing import TYPE_CHECKING, NamedTuple

from buildbook.figures.change import GROUPS, Change, Group, Side
from buildbook.figures.choices import choices
from buildbook.figures.cylinders import kind_words
from buildbook.figures.fits import FIT_KINDS
from buildbook.figures.named import SIZES, Named, named_figures
from buildbook.figures.old_balance import OldBalance, is_matched, old_balance
from buildbook.fits.decision import COVERAGE
from buildbook.quantities import in_numbered_order
from buildbook.records.model import MEASUREMENT_KINDS, WEIGHING_KINDS, Build, Part

if TYPE_CHECKING:
    from buildbook.figures import Figures

Piece = tuple[str, str]  # kind of part, and id; no id stands for any piece of the kind


class Comparison(NamedTuple):
    """What differs, group by group and the biggest first; and of each kind of figure how many are as they were."""

    before: str
    after: str
    changes: tuple[Change, ...]
    unchanged: Mapping[str, int]
    old_balance: OldBalance | None  # None for two states of one build where neither a bobweight nor a spin is another
    errors: Mapping[str, int]  # side → how many errors its records hold, where they hold any

    def of(self, group: Group) -> tuple[Change, ...]:
        return tuple(each for each in self.changes if each.group == group)


def is_significant(change: Fraction | float, uncertainty: float | None) -> bool | None:
    """Whether a change is larger than its expanded uncertainty: |Δ| > k u, k = 2 (GUM, JCGM 100:2008, 5.1.2 and 6.2.1).

    None where the uncertainty is not known. A reading that both sides rest on counts twice, which errs on the side of
    'no more than measurement'.
    """
    return None if uncertainty is None else abs(float(change)) > COVERAGE * uncertainty


def compare(before: Side, after: Side, between: Sequence[Build] = ()) -> Comparison:
    """What differs from `before` to `after`; `between` are the builds of the engine that lie between the two."""
    work = _Work(before, after, between)
    found = [*work.pieces(), *work.figures(), *choices(before.build, after.build), *work.pairing(), *work.findings()]
    ordered = sorted(found, key=lambda each: (GROUPS.index(each.group), -each.weight))
    changes = tuple(each for each in ordered if each.change != 0)
    unchanged: dict[str, int] = {}
    for each in ordered:
        if each.change == 0:
            unchanged[each.kind] = unchanged.get(each.kind, 0) + 1
    reset = any(each.kind.startswith("bobweight") for each in changes) and before.build.spins.steps
    old: OldBalance | None = old_balance(before, after, work.another_rotor)
    if work.one_build and not reset and old is not None and old.spun is None:
        old = None
    errors = {side.name: count for side in (before, after) if (count := side.errors)}
    return Comparison(before.name, after.name, changes, unchanged, old, errors)


# Parts whose place a kind of measurement depends on as well: a bore is measured with its bearing in.
_MEASURED_WITH = {
    "main_bore": "main_bearing",
    "rod_bore": "rod_bearing",
    "cam_bore": "cam_bearing",
    "top_ring_gap": "ring_set",
    "second_ring_gap": "ring_set",
    "oil_rail_gap": "ring_set",
    "top_ring_side": "ring_set",
    "second_ring_side": "ring_set",
    "oil_ring_side": "ring_set",
    "chamber_volume": "head",
}

# Which way figures go with wear; of others nobody can tell wear from work.
_GROWS_WITH_WEAR = ("_bore", "_clearance", "_taper", "_out_of_round", "_gap", "_side", "_end_play", "pin_in_piston",
                    "pin_in_rod")  # fmt: skip
_SHRINKS_WITH_WEAR = ("_journal", "_skirt", "pin_diameter")


NO_MORE = "no more than measurement"


class _Figure(NamedTuple):
    named: Named
    pieces: tuple[Piece, ...]


class _Work:
    """The comparison of one pair."""

    def __init__(self, before: Side, after: Side, between: Sequence[Build]) -> None:
        self.before, self.after, self.between = before, after, between
        self.one_engine = before.build.engine.name == after.build.engine.name
        self.one_build = before.build.name == after.build.name

    @cached_property
    def backwards(self) -> bool:
        """Whether the build `before` is the later one in time."""
        old, new = self.before.build.opened, self.after.build.opened
        return self.one_engine and old is not None and new is not None and old.instant > new.instant

    @cached_property
    def listed(self) -> tuple[dict[Piece, list[Part]], dict[Piece, list[Part]]]:
        return _listed(self.before.build), _listed(self.after.build)

    @cached_property
    def others(self) -> frozenset[Piece]:
        """Pieces that both list under one id, and that are not the same piece."""
        old, new = self.listed
        both = old.keys() & new.keys()
        if not self.one_engine:
            return frozenset(both)
        found = {each for each in both if _unlike(old[each][0], new[each][0])}
        if self.one_build:
            states = {each: {old[each][0].state, new[each][0].state} for each in both}
            return frozenset(found | {each for each in both if len(states[each]) > 1 and "replaced" in states[each]})
        later = self.before.build if self.backwards else self.after.build
        for build in (*self.between, later):
            lines = _listed(build)
            listed = both & lines.keys()
            found |= {each for each in listed if any(line.state in {"new", "replaced"} for line in lines[each])}
        return frozenset(found)

    # ---- pieces

    def pieces(self) -> Iterator[Change]:
        """One engine's pieces by their ids; two engines' by kind, as an id says nothing about another engine."""
        if not self.one_engine:
            yield from self._makes()
            return
        old, new = self.listed
        spares = [{(part.kind, each) for part in side.build.parts if not part.fitted for each in part.pieces}
                  for side in (self.before, self.after)]  # fmt: skip
        for piece in sorted(old.keys() | new.keys(), key=lambda each: (_rank(each[0]), in_numbered_order(each[1]))):
            said = _said(old.get(piece)), _said(new.get(piece))
            if piece not in old:
                why = "a spare before" if piece in spares[0] else f"not in {self.before.name}"
                yield self._piece(piece, said, "new", why)
            elif piece not in new:
                why = "kept as a spare" if piece in spares[1] else f"not in {self.after.name}"
                yield self._piece(piece, said, "gone", why)
            elif piece in self.others:
                yield self._piece(piece, said, "replaced", "another piece under the same id" if piece[1] else "others")
            elif not self.one_build:
                yield self._piece(piece, said, "came back", "the same piece")

    def _makes(self) -> Iterator[Change]:
        old, new = (_made(side.build) for side in (self.before, self.after))
        for kind in sorted(old.keys() | new.keys(), key=_rank):
            said = old.get(kind), new.get(kind)
            if said[0] is None or said[1] is None:
                outcome, name = ("new", self.before.name) if said[0] is None else ("gone", self.after.name)
                yield self._piece((kind, ""), said, outcome, f"not in {name}")
            elif said[0] != said[1]:
                yield self._piece((kind, ""), said, "differs", "another make, number or count")

    def _piece(self, piece: Piece, said: tuple[str | None, str | None], outcome: str, why: str) -> Change:
        weight = {"replaced": 4.0, "differs": 3.0, "new": 2.0, "gone": 1.0}.get(outcome, 0.0)
        return Change("pieces", *piece, *said, outcome, outcome != "came back", why, weight=weight)

    # ---- figures

    def figures(self) -> Iterator[Change]:
        old, new = ({each.named.name: each for each in self._of(side.figures)} for side in (self.before, self.after))
        for name in {**old, **new}:
            if name != "bobweight_spread" or is_matched(self.before.figures) == is_matched(self.after.figures):
                yield self._figure(old.get(name), new.get(name))

    def _of(self, figures: "Figures") -> Iterator[_Figure]:
        fits = {(fit.kind, fit.place): fit for fit in figures.fits.fits}
        for named in named_figures(figures).values():
            if named.kind in WEIGHING_KINDS:
                if self.one_engine or not named.place:
                    kinds = WEIGHING_KINDS[named.kind].pieces
                    ids = named.place.split("+") if named.place else [""] * len(kinds)
                    yield _Figure(named, tuple(zip(kinds, ids, strict=False)))
            elif named.kind in SIZES:
                if self.one_engine or not _of_one_piece(named.kind):
                    yield _Figure(named, _measured_pieces(named.kind, named.place))
            elif (fit := fits.get((named.kind, named.place or "all"))) is not None:
                if self.one_engine or not _of_one_piece(named.kind):
                    titles = {kind.title: name for name, kind in MEASUREMENT_KINDS.items()}
                    came = [(titles[each.what], each.place) for each in fit.came_from if each.what in titles]
                    yield _Figure(named, tuple(dict.fromkeys(p for each in came for p in _measured_pieces(*each))))
            else:
                yield _Figure(named, _derived_pieces(named, figures))
        if not self.one_engine:
            for what, summary in figures.weighings.items():
                if summary.pieces:
                    uncertainty = hypot(summary.mean_uncertainty, summary.drift)
                    mean = Named(what, "", summary.mean, uncertainty, "g", summary.decimals + 1)
                    yield _Figure(mean, ((WEIGHING_KINDS[what].pieces[0], ""),))

    def _figure(self, old: _Figure | None, new: _Figure | None) -> Change:
        one = old or new
        assert one is not None
        kind, place, *_ = one.named
        group: Group = "balance" if kind.startswith(("bobweight", "residual")) else "figures"
        if old is None or new is None:
            value = one.named.value
            why = f"not known in {(self.before if old is None else self.after).name}"
            before, after = (None, value) if old is None else (value, None)
            return Change(group, kind, place, before, after, None, None, why, one.named.unit,
                          one.named.uncertainty, one.named.decimals, -1.0)  # fmt: skip
        change = new.named.value - old.named.value
        known = (old.named.uncertainty, new.named.uncertainty)
        uncertainty = hypot(*(each for each in known if each is not None)) if None not in known else None
        significant = is_significant(change, uncertainty)
        weight = abs(float(change)) / uncertainty if uncertainty else inf if uncertainty == 0 else 0.0
        because = self._because(old, new)
        why = because or self._same(kind, new.pieces, change, significant)
        if because and significant is False:
            why += ", yet alike"
        decimals = max(old.named.decimals, new.named.decimals)
        return Change(group, kind, place, old.named.value, new.named.value, change, significant, why, one.named.unit,
                      uncertainty, decimals, weight, not because)  # fmt: skip

    def _because(self, old: _Figure, new: _Figure) -> str:
        """Which other piece or choice a figure may owe its change to; nothing where there is none."""
        if not self.one_engine:
            return "another engine"
        kind = new.named.kind
        if kind.startswith("residual"):
            return "another spin"
        then, now = (dict(each.pieces) for each in (old, new))
        moved = [f"{now[part]} here instead of {id_}" for part, id_ in then.items() if now.get(part, id_) != id_]
        if moved:
            return ", ".join(moved) if len(moved) < 3 else "other pieces here"
        said = [said for piece in new.pieces if (said := self._replaced(piece))]
        if kind.startswith("bobweight") or kind == "reciprocating_spread" or len(said) > 2:
            said = ["other pieces"] if said else []  # too many to name
        if kind.startswith("bobweight"):
            if not said and kind != "bobweight_set":
                said += [self._matched] if self._matched else []
            choices = self.before.build.balance, self.after.build.balance
            said += ["another factor"] if choices[0].factor != choices[1].factor else []
            said += ["another oil allowance"] if choices[0].oil != choices[1].oil else []
        return ", ".join(dict.fromkeys(said))

    @cached_property
    def _matched(self) -> str:
        """What the pairing has to do with a change in bobweights; nothing where it is the same one."""
        matched = [is_matched(side.figures) for side in (self.before, self.after)]
        if matched[0] != matched[1]:
            return "of matched pieces now" if matched[1] else "of matched pieces before"
        return "matched otherwise" if any(self.pairing()) else ""

    def _replaced(self, piece: Piece) -> str:
        """`another R5`, `8 other ring sets`, `other main bearings`; nothing where it is the same piece."""
        kind, id_ = piece
        found = sorted((each for each in self.others if each[0] == kind), key=lambda each: in_numbered_order(each[1]))
        if id_:
            return f"another {id_}" if piece in found else ""
        ids = [f"another {each[1]}" for each in found if each[1]]
        if not ids:
            return f"other {plural(kind)}" if found else ""
        return ", ".join(ids) if len(ids) <= 2 else f"{len(ids)} other {plural(kind)}"

    def _same(self, kind: str, pieces: Iterable[Piece], change: Fraction, significant: bool | None) -> str:
        """What a change of the same pieces can be: measurement, wear where it goes that way, or what was done."""
        if significant is None:
            return "whether it is real cannot be said: no uncertainty is known"
        if not significant:
            return NO_MORE
        if self.one_build:
            return "real: worked on, or one reading is wrong"
        later = self.listed[0] if self.backwards else self.listed[1]
        asked = {piece for piece in later for of, id_ in pieces if piece == (of, id_) or (piece[0] == of and not id_)}
        worked = any(part.state == "reconditioned" for piece in asked for part in later[piece])
        grown = (change > 0) != self.backwards
        weighed = kind in WEIGHING_KINDS
        wears = kind.endswith(_GROWS_WITH_WEAR) if grown else kind.endswith(_SHRINKS_WITH_WEAR) or weighed
        knows = weighed or kind.endswith(_GROWS_WITH_WEAR) or kind.endswith(_SHRINKS_WITH_WEAR)
        if wears:
            return "worn or machined" if worked else "worn or cleaned" if weighed else "wear"
        if worked:
            return "real: machined"
        return "real, and not the way of wear" if knows else "real"

    def another_rotor(self, carrying: Sequence[str]) -> str | None:
        """Why what was balanced is not what will turn: another crankshaft or carried part, or one that was cut."""
        if not self.one_engine:
            return "another engine has another crankshaft"
        old, new = self.listed
        for piece in old:
            if piece[0] != "crankshaft" and piece[1] not in carrying:
                continue
            name = f"{kind_words(piece[0])} {piece[1]}".strip()
            if piece in self.others:
                return f"{name} is another one: spin it"
            if piece not in new:
                return f"{name} is not in {self.after.name}"
            if new[piece][0].state == "reconditioned" and old[piece][0].state != "reconditioned":
                return f"{name} was reconditioned since: spin it"
        return None

    # ---- pairing

    def pairing(self) -> Iterator[Change]:
        decisions = [side.build.pairings.decision for side in (self.before, self.after)]
        if not self.one_engine or decisions == [None, None]:
            return
        if None in decisions:
            said = ["decided" if each is not None else None for each in decisions]
            why = "not decided yet" if decisions[1] is None else "decided since"
            yield Change("pairing", "pairing", "", said[0], said[1], None, None, why)
            return
        then, now = ({name: each.pieces for name, each in (decision.cylinders if decision else {}).items()}
                     for decision in decisions)  # fmt: skip
        was_in = {(kind, piece): cylinder for cylinder, pieces in then.items() for kind, piece in pieces.items()}
        for cylinder in sorted({**then, **now}, key=in_numbered_order):
            old, new = then.get(cylinder, {}), now.get(cylinder, {})
            for kind in {**old, **new}:
                before, after = old.get(kind), new.get(kind)
                if before == after and (kind, after) not in self.others:
                    continue
                from_ = was_in.get((kind, after or ""))
                if after is None:
                    why = f"no {kind_words(kind)} is named any more"
                elif (kind, after) in self.others:
                    why = f"another {kind_words(kind)} {after}"
                else:
                    why = f"came from cylinder {from_}" if from_ else "in no cylinder before"
                yield Change("pairing", f"cylinder.{cylinder}", kind, before, after, "another", True, why)

    # ---- findings

    def findings(self) -> Iterator[Change]:
        """What is found after and was not found before: the same rule in the same words is the same finding."""
        known = {(each.rule, each.what) for each in self.before.found}
        weights = {"error": 2.0, "warning": 1.0, "note": 0.0}
        for each in self.after.found:
            if (each.rule, each.what) not in known:
                yield Change("findings", each.rule, "", None, each.what, each.severity, each.severity != "note",
                             each.why, weight=weights[each.severity])  # fmt: skip


def plural(kind: str) -> str:
    words = kind_words(kind)
    return words if words.endswith("s") else f"{words}s"


def _listed(build: Build) -> dict[Piece, list[Part]]:
    """The fitted pieces, each with the lines that list it; pieces that are only counted stand together under no id."""
    found: dict[Piece, list[Part]] = {}
    for part in build.parts:
        ids = [stamped.id for stamped in part.ids] or [""]
        for id_ in ids if part.fitted else ():
            found.setdefault((part.kind, id_), []).append(part)
    return found


def _said(lines: Sequence[Part] | None) -> str | None:
    """What the parts list says of a piece: `16 × new, Millrace bearings MB-533`."""
    if not lines:
        return None
    count = sum(line.count or 0 for line in lines)
    made = " ".join(word for word in (lines[0].maker, lines[0].number) if word)
    words = ", ".join(word for word in (lines[0].state, made) if word) or "listed"
    return f"{count} × {words}" if count else words


def _made(build: Build) -> dict[str, str]:
    """Kind → how many pieces of which make are fitted: `7 × Northlight forge NF-1524, 1 × Southlight SF-2`."""
    counts: dict[str, dict[str, int]] = {}
    for part in build.parts:
        if part.fitted:
            made = " ".join(word for word in (part.maker, part.number) if word) or "of no named make"
            of_kind = counts.setdefault(part.kind, {})
            of_kind[made] = of_kind.get(made, 0) + len(part.pieces)
    return {
        kind: ", ".join(f"{count} × {made}" for made, count in sorted(makes.items())) for kind, makes in counts.items()
    }


def _unlike(old: Part, new: Part) -> bool:
    """Whether two lines cannot be of one piece: they state different makers or numbers."""
    stated = ((old.maker, new.maker), (old.number, new.number))
    return any(then is not None and now is not None and then != now for then, now in stated)


_FIRST = ("crankshaft", "block", "rod", "piston", "pin", "ring_set")


def _rank(kind: str) -> tuple[int, str]:
    return (_FIRST.index(kind) if kind in _FIRST else len(_FIRST), kind)


def _of_one_piece(kind: str) -> bool:
    """Whether a measurement or fit is named after a single piece, such as a rod, and not a place in the engine."""
    measured = FIT_KINDS[kind].needs[0] if kind in FIT_KINDS else kind
    return MEASUREMENT_KINDS[measured].at[0] in {"rod", "piston", "pin"} or kind == "rod_bolt_stretch"


def _measured_pieces(kind: str, place: str) -> tuple[Piece, ...]:
    """The pieces whose size, or whose bearings, a measurement is of."""
    measurement = MEASUREMENT_KINDS[kind]
    own = ((measurement.at[0], place),) if measurement.at[0] in {"rod", "piston", "pin", "head_gasket"} else ()
    made_of = ((measurement.made_of, ""),) if measurement.made_of and not own else ()
    more = ((_MEASURED_WITH[kind], ""),) if kind in _MEASURED_WITH else ()
    return (*own, *made_of, *more)


def _derived_pieces(named: Named, figures: "Figures") -> tuple[Piece, ...]:
    """The pieces behind a spread, a cylinder's reciprocating weight, or a bobweight."""
    if named.kind == "reciprocating" and figures.pairing is not None:
        return tuple(figures.pairing.cylinders[named.place].pieces.items())
    kinds = [named.kind.removesuffix("_spread")] if named.kind.removesuffix("_spread") in WEIGHING_KINDS else []
    if named.kind in {"reciprocating_spread", "bobweight", "bobweight_target", "bobweight_spread"}:
        kinds = [*figures.kinds]
    return tuple(dict.fromkeys((part, "") for kind in kinds for part in WEIGHING_KINDS[kind].pieces))

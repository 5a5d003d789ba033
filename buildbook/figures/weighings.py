"""What the weighings say of each kind of piece: every piece's weight, the spread, and what the scale can tell."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import sqrt
from typing import NamedTuple, TypeVar

from buildbook import uncertainty as gum
from buildbook.quantities import decimals_for
from buildbook.records.finding import Where
from buildbook.records.model import WEIGHING_KINDS, Build, Entry, Instrument, Reading, WeighingSession


@dataclass(frozen=True, slots=True)
class PieceWeight:
    """The weight of one piece [g]: the mean of the readings of the session that counts."""

    piece: str
    weight: Fraction
    uncertainty: float  # standard uncertainty [g]
    drift: float  # the part of it that it shares with all pieces of its session [g]
    readings: tuple[Fraction, ...]
    decimals: int  # digits after the point, as read
    session: WeighingSession
    where: Where
    earlier: tuple["PieceWeight", ...]  # what sessions before said of the same piece

    @property
    def as_read(self) -> str:
        """The readings with the digits they were written with, and their unit where it is not g."""
        values = self.session.readings[self.piece].values
        return " ".join(each.digits if each.unit == "g" else each.written for each in values)

    @property
    def own_uncertainty(self) -> float:
        """Standard uncertainty [g] without what it shares with its session: √(u² − drift²)."""
        return sqrt(max(self.uncertainty**2 - self.drift**2, 0.0))


class Stated(NamedTuple):
    """What a maker states of pieces [g], and the mean of just those pieces as weighed."""

    value: Fraction
    mean: Fraction | None


@dataclass(frozen=True, slots=True)
class KindSummary:
    """All pieces of one kind of weighing, in g.

    `uncertainty` is the standard uncertainty of one piece's weight, the largest where they differ. A lot weighed
    together has a mean, but no lightest, heaviest or spread.
    """

    what: str
    count: int
    mean: Fraction
    lightest: PieceWeight | None
    heaviest: PieceWeight | None
    uncertainty: float
    decimals: int
    pieces: Mapping[str, PieceWeight]
    spares: Mapping[str, PieceWeight]  # weighed, and counted for nothing
    stated: tuple["Stated", ...]  # what the makers of these pieces state
    per_cylinder: int  # how many pieces each cylinder, or rod, has
    mean_uncertainty: float  # standard uncertainty of the mean [g], without the drift of the scale
    drift: float  # what the mean shares with all that was weighed in its sessions [g]
    where: Where

    @property
    def title(self) -> str:
        return WEIGHING_KINDS[self.what].title

    @property
    def spread(self) -> Fraction | None:
        """Heaviest less lightest [g]."""
        if self.heaviest is None or self.lightest is None:
            return None
        return self.heaviest.weight - self.lightest.weight

    @property
    def smallest_difference(self) -> float:
        """The smallest difference between two pieces that the scale can tell [g]."""
        return gum.smallest_difference(self.uncertainty)

    @property
    def sorting_helps(self) -> bool:
        """Whether the pieces differ by more than the scale can tell apart."""
        return self.spread is not None and float(self.spread) > self.smallest_difference


def summarise(build: Build) -> dict[str, KindSummary]:
    """Each kind that was weighed, in the order of the kinds; void sessions are not used."""
    sessions = [session for session in in_order(build.weighings) if session.void is None]
    summaries = {}
    for what in WEIGHING_KINDS:
        of_kind = [session for session in sessions if session.what == what]
        pieces, spares = _pieces(of_kind, build)
        lots = [session for session in of_kind if session.lot is not None and session.lot.total.values]
        if pieces:
            summaries[what] = _of_pieces(what, pieces, spares, build)
        elif lots:
            summaries[what] = _of_lot(what, lots[-1], build)
    return summaries


AnyEntry = TypeVar("AnyEntry", bound=Entry)


def in_order(sessions: Sequence[AnyEntry]) -> list[AnyEntry]:
    """Sessions by the time they were taken. One that says no time, or only the day of the one before it in the file,
    keeps its place after that one."""
    keyed = []
    latest = None
    for position, session in enumerate(sessions):
        taken = session.taken
        if taken and not (latest and not taken.has_time and taken.day == latest.date()):
            latest = taken.instant
        keyed.append(((latest is not None, latest.timestamp() if latest else 0.0, position), session))
    return [session for _, session in sorted(keyed, key=lambda pair: pair[0])]


class SessionTerms(NamedTuple):
    """What makes a weight of one session uncertain [g]: see `uncertainty.reading_uncertainty`."""

    resolution: float
    repeatability: float
    drift: float

    def uncertainty(self, reading: Reading) -> float:
        """Standard uncertainty [g] of a piece: √(d²/12 + s²/n + a²/3), d being the last digit written where that is
        coarser than the scale's step, n how often it was weighed."""
        step = max(self.resolution, float(last_digit([reading])))
        return gum.reading_uncertainty(step, self.repeatability, self.drift, len(reading.values))


def session_terms(session: WeighingSession, instruments: Mapping[str, Instrument]) -> SessionTerms:
    """The step d is the scale's resolution; the repeatability s is what the shop states for the scale, or else what
    the repeated readings of this session show; the drift a is how far the check weight was seen from its nominal.
    """
    instrument = instruments.get(session.with_ or "")
    scale = instrument if instrument and instrument.reads("mass") else None
    read = [*session.readings.values(), *([session.lot.total] if session.lot else [])]
    stated = float(scale.resolution.worth("g")) if scale and scale.resolution else 0.0
    repeatability = scale.repeatability if scale else None
    if repeatability is not None:
        deviation = float(repeatability.worth("g"))
    else:
        groups = [[float(value.worth("g")) for value in reading.values] for reading in read]
        deviation = gum.pooled_standard_deviation(groups) or 0.0
    return SessionTerms(stated, deviation, _drift(session))


def last_digit(readings: Iterable[Reading]) -> Fraction:
    """The worth of the last digit written [g], the coarsest of several readings."""
    return max((value.last_digit("g") for reading in readings for value in reading.values), default=Fraction(0))


def _drift(session: WeighingSession) -> float:
    check = session.check_weight
    if check is None:
        return 0.0
    nominal, *seen = (
        float(weight.worth("g")) for weight in (check.nominal, check.before, check.after) if weight is not None
    )
    return gum.drift_half_width(nominal, seen[0], seen[-1]) if seen else 0.0


def _pieces(sessions: list[WeighingSession], build: Build) -> tuple[dict[str, PieceWeight], dict[str, PieceWeight]]:
    """The pieces that were weighed, and the spares among them, each by its latest reading."""
    pieces: dict[str, PieceWeight] = {}
    spares: dict[str, PieceWeight] = {}
    spare_ids = {piece for part in build.parts if not part.fitted for piece in part.pieces}
    for session in sessions:
        terms = session_terms(session, build.shop.instruments)
        for piece, reading in session.readings.items():
            if not reading.values:
                continue
            group = spares if piece in spare_ids else pieces
            before = group.get(piece)
            group[piece] = PieceWeight(
                piece=piece,
                weight=mean(reading),
                uncertainty=terms.uncertainty(reading),
                drift=gum.rectangular(terms.drift),
                readings=tuple(value.worth("g") for value in reading.values),
                decimals=decimals_for(last_digit([reading])) + (len(set(reading.values)) > 1),
                session=session,
                where=reading.where,
                earlier=(*before.earlier, before) if before else (),
            )
    return pieces, spares


def mean(reading: Reading) -> Fraction:
    """The mean of the readings of a piece [g]."""
    return sum((value.worth("g") for value in reading.values), Fraction(0)) / len(reading.values)


def _of_pieces(what: str, pieces: dict[str, PieceWeight], spares: dict[str, PieceWeight], build: Build) -> KindSummary:
    by_weight = sorted(pieces.values(), key=lambda piece: piece.weight)
    return KindSummary(
        what=what,
        count=len(pieces),
        mean=sum((piece.weight for piece in by_weight), Fraction(0)) / len(pieces),
        lightest=by_weight[0],
        heaviest=by_weight[-1],
        uncertainty=max(piece.uncertainty for piece in by_weight),
        decimals=sorted(piece.decimals for piece in by_weight)[len(by_weight) // 2],
        pieces=pieces,
        spares=spares,
        stated=_stated(what, build, pieces),
        per_cylinder=1,
        mean_uncertainty=gum.combined(*(piece.own_uncertainty for piece in by_weight)) / len(pieces),
        drift=_shared_drift(by_weight),
        where=by_weight[0].session.where,
    )


def _shared_drift(pieces: list[PieceWeight]) -> float:
    """The drift in the mean of pieces [g]: one scale's drift in one session is the same for all its pieces, so that
    shares of different sessions combine as √(Σ (share × drift)²)."""
    sessions = {id(piece.session): piece.drift for piece in pieces}
    counts = Counter(id(piece.session) for piece in pieces)
    return gum.combined(*(counts[each] / len(pieces) * drift for each, drift in sessions.items()))


def _of_lot(what: str, session: WeighingSession, build: Build) -> KindSummary:
    lot = session.lot
    assert lot is not None
    terms = session_terms(session, build.shop.instruments)
    uncertainty = terms.uncertainty(lot.total)
    return KindSummary(
        what=what,
        count=lot.pieces,
        mean=mean(lot.total) / lot.pieces,
        lightest=None,
        heaviest=None,
        uncertainty=uncertainty / lot.pieces,
        decimals=decimals_for(last_digit([lot.total])),
        pieces={},
        spares={},
        stated=_stated(what, build, {}),
        per_cylinder=lot.per_cylinder,
        mean_uncertainty=uncertainty / lot.pieces,
        drift=0.0,  # the one measurement of a lot is counted as often as it is used anyway
        where=session.where,
    )


def _stated(what: str, build: Build, pieces: Mapping[str, PieceWeight]) -> tuple[Stated, ...]:
    by_value: dict[Fraction, list[PieceWeight]] = {}
    for part in build.parts:
        if what in part.stated and part.fitted:
            own = by_value.setdefault(part.stated[what].worth("g"), [])
            own += [pieces[piece] for piece in part.pieces if piece in pieces]
    return tuple(
        Stated(value, sum((each.weight for each in own), Fraction(0)) / len(own) if own else None)
        for value, own in by_value.items()
    )

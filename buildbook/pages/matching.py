"""What was weighed, which piece goes where, and the map of it: as a part of the sheet and as the page on the wall."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from math import ceil
from typing import NamedTuple

from buildbook.figures import Figures
from buildbook.figures.cylinders import CylinderFigure, kind_words
from buildbook.figures.lengths import Ruler
from buildbook.pages.drawing import banks_from_left, engine_from_the_front
from buildbook.pages.html import Child, Markup, element, items, own, section, table
from buildbook.quantities import fixed, in_numbered_order, two_figures
from buildbook.records.model import WEIGHING_KINDS, Lock


def weights(figures: Figures, *, piece_by_piece: bool) -> Markup:
    """Every kind that was weighed: how many, the mean, the lightest and heaviest; and in the shop every piece."""
    kinds = figures.weighings.values()
    missing = [WEIGHING_KINDS[what].title for what in figures.kinds if what not in figures.weighings]
    rows = []
    for kind in kinds:
        spread = fixed(kind.spread, kind.decimals) if kind.spread is not None else "weighed as a lot"
        extremes = [
            [fixed(each.weight, each.decimals), " ", own(each.piece)] if each else ""
            for each in (kind.lightest, kind.heaviest)
        ]
        rows.append(
            [
                kind.title,
                kind.count,
                fixed(kind.mean, kind.decimals + 1),
                *extremes,
                spread,
                two_figures(kind.uncertainty),
            ]
        )
    columns = ["weights in g", "pieces>", "mean>", "lightest>", "heaviest>", "spread>", "± u>"]
    return section(
        "Weights",
        table(columns, rows),
        element("p", "Not weighed: ", ", ".join(missing), class_="doubt") if missing else None,
        element("div", _every_piece(figures), class_="two") if piece_by_piece else None,
        means="What each kind of piece weighed; ± u is what the scale leaves uncertain (one standard uncertainty).",
    )


def _every_piece(figures: Figures) -> Iterator[Markup]:
    for kind in figures.weighings.values():
        pieces = sorted(kind.pieces.values(), key=lambda piece: in_numbered_order(piece.piece))
        sessions = list(dict.fromkeys(piece.session.id or "?" for piece in pieces))
        rows = []
        for piece in pieces:
            read = own(piece.as_read if len(piece.readings) > 1 else "")
            before = [f"{fixed(each.weight, piece.decimals)} in {each.session.id}" for each in piece.earlier]
            session = own(piece.session.id or "?") if len(sessions) > 1 else ""
            off = fixed(piece.weight - kind.mean, kind.decimals + 1, sign=True)
            weight, uncertainty = fixed(piece.weight, piece.decimals), two_figures(piece.uncertainty)
            rows.append([own(piece.piece), weight, off, uncertainty, session, read, own(", ".join(before))])
        came = f" ({sessions[0]})" if len(sessions) == 1 else ""
        caption = f"{kind.title}, mean {fixed(kind.mean, kind.decimals + 1)} g{came}"
        yield table(["", "g>", "off mean>", "± u>", "in", "read", "before"], rows, caption=caption)


def matching(figures: Figures, *, reasons: bool) -> Markup:
    """The map, and how even the reciprocating weights came out; why pieces are locked is for the shop to read."""
    return section(
        "Matching",
        element("p", summary(figures), class_="lead"),
        the_map(figures, _Sizes(13, 24, 44.0), with_weights=True),
        items(own(locked(lock, reasons=reasons)) for lock in figures.build.pairings.locks),
        means="Which piece runs in which cylinder, so that what goes up and down weighs the same in all of them.",
    )


def summary(figures: Figures) -> Child:
    """How even the pairing is, in a sentence."""
    if not figures.has_layout:
        return "The engine's layout is not known, so nothing can be said of its cylinders."
    pairing = figures.pairing
    if pairing is None:
        return "Not matched: no pairing has been decided."
    if pairing.mean is None or pairing.spread is None:
        return "Matched, and not every cylinder is weighed and filled."
    most, over = _allowed(figures, pairing.spread)
    held = f"; the limit is {most} g" if most else ""
    sizes = f"mean {fixed(pairing.mean, 2)} g, heaviest less lightest {fixed(pairing.spread, 2)} g{held}. "
    return ["Reciprocating weight: ", sizes, over, decided(figures)]


def _allowed(figures: Figures, spread: Fraction) -> tuple[str | None, Markup | None]:
    """How far apart reciprocating weights may be [g], and the mark of a spread that is over that."""
    limit = figures.build.limits.get("reciprocating_spread")
    most = limit.bounds.get("max") if limit else None
    if most is None:
        return None, None
    over = spread > most.worth("g")
    return fixed(most.worth("g"), 2), element("span", "OVER", class_="bad") if over else None


def in_short(figures: Figures) -> Child:
    """How even the cylinders are, for a reader who knows no more of it."""
    pairing = figures.pairing if figures.has_layout else None
    if pairing is None or pairing.spread is None:
        return "not yet" if pairing is None else "not every cylinder is weighed and filled"
    if len(pairing.cylinders) == 1:
        return None
    most, over = _allowed(figures, pairing.spread)
    allowed = f" ({most} g allowed)" if most else ""
    said = f"what goes up and down weighs the same in all cylinders within {fixed(pairing.spread, 2)} g{allowed} "
    return [said, over]


def decided(figures: Figures) -> Child:
    """Who decided the pairing, and when."""
    pairing = figures.pairing if figures.has_layout else None
    if pairing is None:
        return None
    decision = pairing.decision
    by = figures.build.shop.people.get(decision.by or "")
    when = decision.taken.text[:10] if decision.taken else "no date"
    return [f"Decided {when} by ", own((by.name if by else None) or decision.by or "nobody named"), "."]


def locked(lock: Lock, *, reasons: bool) -> str:
    """A lock in words: what stays together or where it is, and why."""
    pieces = " and ".join(f"{kind_words(kind)} {piece}" for kind, piece in lock.pieces.items())
    where = f" in cylinder {lock.cylinder}" if lock.cylinder else ""
    return f"Kept as it was: {pieces}{where}" + (f" ({lock.because or 'no reason given'})" if reasons else "")


class _Sizes(NamedTuple):
    """How large an id and a cylinder's number are [pt], and how high the drawing is [mm]."""

    id: int
    number: int
    front: float


def the_map(figures: Figures, sizes: _Sizes, *, with_weights: bool) -> Markup:
    """The cylinders in their banks, the rear of the engine farthest up, and under them the engine from the front."""
    if not figures.has_layout:
        return Markup()
    pairing, layout = figures.pairing, figures.layout
    banks = banks_from_left(layout)
    columns = []
    for bank in banks:
        names = [name for name, each in layout.cylinders.items() if each.bank == bank]
        cards = []
        for name in reversed(names):
            figure = pairing.cylinders[name] if pairing else None
            cards.append(_card(name, layout.cylinders[name].throw, figure, figures, with_weights=with_weights))
        columns.append(cards)
    deepest = max(map(len, columns))
    grid = []
    for bank, cards in zip(banks, columns, strict=True):
        empty = deepest - len(cards)
        first = f"grid-row-start: {empty + 1}" if empty else None
        listed = [element("li", card, style=first if place == 0 else None) for place, card in enumerate(cards)]
        name = f"{kind_words(bank)} bank"
        said = element("p", own(name)) if len(banks) > 1 else None
        grid.append(element("div", said, element("ol", listed, class_="bank", aria_label=f"{name}, from the rear")))
    side_by_side = f"grid-template-columns: repeat({len(banks)}, minmax(0, 1fr))"
    return element(
        "div",
        element("p", "rear of the engine"),
        element("div", grid, class_="banks", style=side_by_side),
        engine_from_the_front(layout, sizes.front),
        element("p", element("b", "FRONT of the engine"), ": the map lies as you see it standing here"),
        class_="map",
        style=f"--id: {sizes.id}pt; --number: {sizes.number}pt",
    )


def _card(name: str, throw: str, cylinder: CylinderFigure | None, figures: Figures, *, with_weights: bool) -> Markup:
    """One cylinder: its number and its pieces, large; what is not certain is in a heavy frame, and said."""
    alarms = alarms_of(cylinder, figures)
    pieces = cylinder.pieces if cylinder else {}
    named = [element("span", kind_words(kind), element("b", own(piece)), " ") for kind, piece in pieces.items()]
    said: list[Child] = [f"throw {throw}"]
    if with_weights and cylinder is not None:
        if cylinder.reciprocating is not None and cylinder.from_mean is not None:
            off = fixed(cylinder.from_mean, 2, sign=True)
            said.append(f", {fixed(cylinder.reciprocating, 2)} g, {off} from mean")
        elif pieces:
            said.append(", not all weighed")
    return element(
        "div",
        element("strong", own(name)),
        element(
            "div",
            element("div", named, class_="pieces") if named else None,
            element("p", said),
            element("p", ([element("span", alarm, class_="bad"), " "] for alarm in alarms)) if alarms else None,
        ),
        class_="cylinder uncertain" if alarms else "cylinder",
    )


def alarms_of(cylinder: CylinderFigure | None, figures: Figures) -> list[str]:
    """What keeps a cylinder from being put together as the map says."""
    if cylinder is None or not cylinder.pieces:
        return ["NOT MATCHED"]
    ruler = Ruler(figures.build.shop)
    alarms = [change.upper() for change in cylinder.changed]
    if lacking := [kind for kind in ("rod", "piston", "pin") if kind not in cylinder.pieces]:
        alarms.append(f"NO {' OR '.join(lacking).upper()} NAMED")
    for fit in figures.fits.of("piston_clearance"):
        if fit.place == cylinder.cylinder and fit.verdict in {"under", "over"}:
            alarms.append(f"PISTON CLEARANCE {fit.verdict.upper()}")
    for ring in figures.fits.filing:
        if ring.cylinder == cylinder.cylinder and ring.file > 0 and not ring.practice:
            alarms.append(f"FILE {kind_words(ring.ring).upper()} {ruler.with_unit(ring.file, 3)}")
    return alarms


def wall(figures: Figures) -> Markup:
    """The map alone, as large as one page lets it be, whether A4 or Letter."""
    build = figures.build
    owner = build.engine.owner_name or build.engine.owner_ref
    told = [build.engine.description, f"for {owner}" if owner else None]
    head = element(
        "div",
        element("h1", build.name),
        element("p", own(short(", ".join(each for each in told if each))), element("br"), decided(figures)),
        class_="top",
    )
    if not figures.has_layout:
        return Markup(head + element("p", summary(figures), class_="lead"))
    unclear = figures.pairing is None or figures.pairing.spread is None
    said = element("p", summary(figures)) if unclear else Markup()
    return Markup(head + said + the_map(figures, _wall_sizes(figures), with_weights=True))


def short(told: str) -> str:
    """As much of a text as a heading has room for."""
    return told if len(told) <= _LONGEST else f"{told[:_LONGEST]}…"


_LONGEST = 120

# What is left for rows and drawing inside the margins of both A4 and Letter [mm], under the heading.
_WALL_WIDTH, _WALL_HEIGHT = 188.0, 218.0
_GAP = 1.5
_LETTER = 0.68  # how wide a bold letter is, as a share of its height
_POINT = 25.4 / 72
_TOLD = 64.0  # what is said under the pieces, on one line
_BESIDE = 17.0  # with less room than this, the pieces stand under the number; the stylesheet says so too


def _wall_sizes(figures: Figures) -> _Sizes:
    """The height of the drawing, and the largest letters whose pieces still fit their cards."""
    layout, pairing = figures.layout, figures.pairing
    banks = len(layout.banks)
    rows = max(sum(each.bank == bank for each in layout.cylinders.values()) for bank in layout.banks)
    front = 46.0 if rows <= 6 else 34.0
    height = (_WALL_HEIGHT - front) / rows - _GAP
    width = (_WALL_WIDTH - 2 * (banks - 1)) / banks - 6
    cards = list(pairing.cylinders.values()) if pairing else []
    alarms = [alarms_of(each, figures) for each in cards]
    for size in (96, 84, 72, 60, 52, 44, 38, 34, 30, 27, 24, 20, 16, 13):
        sizes = _Sizes(size, min(size * 3 // 2, 96), front)
        needed = [_height_needed(each, said, sizes, width) for each, said in zip(cards, alarms, strict=True)]
        if max(needed, default=sizes.number * _POINT + 2) <= height - 2:
            return sizes
    return sizes


def _height_needed(cylinder: CylinderFigure, alarms: Sequence[str], sizes: _Sizes, width: float) -> float:
    """How high a card has to be [mm]: its pieces beside its number, or under it where that leaves too little room; and
    under them what is alarming."""
    room = width - _number_width(cylinder, sizes, width) - 3
    above = 0.0
    if room < _BESIDE:
        room, above = width, sizes.number * _POINT + 1
    lines = _lines_needed(cylinder, sizes, room)
    told = 5.5 * ceil(_TOLD / room) + sum(7 * ceil((len(alarm) * 14 * _LETTER * _POINT + 3) / room) for alarm in alarms)
    return above + lines * (sizes.id * 1.05 + 14) * _POINT + told


def _number_width(cylinder: CylinderFigure, sizes: _Sizes, width: float) -> float:
    return min(len(cylinder.cylinder) * sizes.number * _LETTER * _POINT, 0.45 * width)


def _lines_needed(cylinder: CylinderFigure, sizes: _Sizes, room: float) -> int:
    """How many lines the pieces of a cylinder take in so much room."""
    lines, used = 1, 0.0
    for kind, piece in cylinder.pieces.items():
        wide = max(len(piece) * sizes.id * _LETTER, len(kind) * 10 * 0.6) * _POINT
        if wide > room:
            lines, used = lines + int(wide / room) + (used > 0), room
        elif used and used + 3 + wide > room:
            lines, used = lines + 1, wide
        else:
            used += wide + (3 if used else 0)
    return lines

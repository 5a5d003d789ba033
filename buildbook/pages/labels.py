"""Tags for the pieces, to be cut out and tied on: which piece it is, where it goes, and with what."""

from collections.abc import Iterator, Sequence

from buildbook.figures import Figures
from buildbook.figures.cylinders import PairingFigure, kind_words
from buildbook.pages.drawing import drawing
from buildbook.pages.html import Child, Markup, element, own, page
from buildbook.pages.matching import summary
from buildbook.quantities import fixed, in_numbered_order
from buildbook.records.model import WEIGHING_KINDS

# The parts that are matched, in the order in which they lie on the bench.
KINDS = ("rod", "piston", "pin", "ring_set")

_LONG = 9  # letters of an id that the large type has room for


def label_sheet(figures: Figures, paper: str | None = None) -> str:
    """A page of tags, cylinder by cylinder; what is not matched, and what is spare, comes last and says so."""
    name, pairing = figures.build.name, figures.pairing if figures.has_layout else None
    said = (
        "Cut along the dashes. Lay each tag so that its arrow points to the front of the engine as the piece goes in. "
        "The record does not say which way a notch or a chamfer faces: go by the mark of the part's maker."
    )
    tags = [*(_matched(figures, pairing) if pairing else ()), *_others(figures, pairing)]
    most = max((len(each.pieces) for each in pairing.cylinders.values()), default=4) if pairing else 4
    columns = f"grid-template-columns: repeat({min(max(most, 3), 4)}, minmax(0, 1fr))"
    return page(
        f"{name}, labels",
        element("h1", own(name)),
        element("p", said),
        None if pairing else element("p", summary(figures)),
        element("div", tags, class_="tags", style=columns) if tags else element("p", "No pieces are listed."),
        kind="labels",
        paper=paper,
    )


def _matched(figures: Figures, pairing: PairingFigure) -> Iterator[Markup]:
    for cylinder in pairing.cylinders.values():
        others = [each for each in cylinder.pieces if each not in KINDS]
        for kind in (each for each in (*KINDS, *others) if each in cylinder.pieces):
            mates = ", ".join(f"{kind_words(other)} {id_}" for other, id_ in cylinder.pieces.items() if other != kind)
            lines: list[Child] = [f"{kind_words(cylinder.bank)} bank, throw {cylinder.throw}"]
            lines += [["with ", own(mates)]] if mates else []
            for each in pairing.cylinders.values() if kind == "rod" else ():
                if each.throw == cylinder.throw and each is not cylinder and "rod" in each.pieces:
                    lines.append(["beside ", own(each.pieces["rod"]), f" of cylinder {each.cylinder}"])
            yield _tag(figures, kind, cylinder.pieces[kind], cylinder.cylinder, lines, cylinder.changed)


def _others(figures: Figures, pairing: PairingFigure | None) -> Iterator[Markup]:
    """The pieces of these kinds that have no place in the pairing."""
    cylinders = pairing.cylinders.values() if pairing else ()
    placed = {(kind, piece) for each in cylinders for kind, piece in each.pieces.items()}
    for kind in KINDS:
        for part in (part for part in figures.build.parts if part.kind == kind):
            for piece in sorted({each.id for each in part.ids}, key=in_numbered_order):
                if (kind, piece) not in placed:
                    yield _tag(figures, kind, piece, None, (), ("not matched" if part.fitted else "spare",))


def _tag(
    figures: Figures, kind: str, piece: str, cylinder: str | None, lines: Sequence[Child], alarms: Sequence[str]
) -> Markup:
    engine, _, build = figures.build.name.partition("/")
    weights = [
        f"{WEIGHING_KINDS[what].title.removeprefix('rod ')} {fixed(each.weight, each.decimals)} g"
        for what, weighed in figures.weighings.items()
        if kind in WEIGHING_KINDS[what].pieces
        for each in weighed.pieces.values()
        if each.piece.split("+")[WEIGHING_KINDS[what].pieces.index(kind)] == piece
    ]
    from_where = element("span", own(engine), element("br"), own(build))
    return element(
        "div",
        element("p", kind_words(kind)),
        element("p", own(piece), class_="id long" if len(piece) > _LONG else "id"),
        element("p", own(f"cylinder {cylinder}"), class_="where") if cylinder else None,
        (element("p", line) for line in lines),
        element("p", own(", ".join(weights))) if weights else None,
        (element("p", element("span", alarm.upper(), class_="bad")) for alarm in alarms),
        element("div", from_where, _arrow() if cylinder else None, class_="way"),
        class_="tag",
    )


def _arrow() -> Markup:
    """An arrow to be laid towards the front of the engine."""
    return drawing(
        "Front",
        "this way to the front of the engine",
        18,
        12,
        element("path", d="M9 0L13 5.5H10.2V7.5H7.8V5.5H5Z", class_="ink"),
        element("text", "FRONT", x=9, y=11.3, font_size=3.6, text_anchor="middle", font_weight="bold"),
        class_="arrow",
    )

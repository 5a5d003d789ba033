"""The weighings: kind by kind with their spread, and session by session."""

from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.padding import Padding

from buildbook.figures import Figures
from buildbook.figures.weighings import KindSummary, PieceWeight
from buildbook.quantities import fixed, two_figures
from buildbook.records.model import WEIGHING_KINDS, WeighingSession
from buildbook.views.screen import DIM, DOUBT, bar, heading, line, row, strip, table, words
from buildbook.views.sessions import draw_sessions


def draw_weighings(to: Console, figures: Figures) -> None:
    """The summary of every kind, what sorting can do, and the sessions."""
    heading(to, "Weighings", figures.build.name)
    if not figures.weighings:
        to.print(words("nothing has been weighed yet", DIM))
    else:
        _draw_summary(to, figures)
    draw_sessions(to, _sessions(figures.build.weighings))


def _draw_summary(to: Console, figures: Figures) -> None:
    roomy = to.width >= 96  # room for a picture beside the figures
    summary = table(
        ("piece", "left"), ("n", "right"), ("mean g", "right"), ("lightest", "right"), ("", "left"),
        ("heaviest", "right"), ("", "left"), ("spread", "right"), ("± u", "right"),
    )  # fmt: skip
    if roomy:
        summary.add_column("light … heavy")
    for kind in figures.weighings.values():
        row(
            summary,
            kind.title,
            str(kind.count),
            fixed(kind.mean, kind.decimals + 1),
            *_extreme(kind.lightest),
            *_extreme(kind.heaviest),
            fixed(kind.spread, kind.decimals) if kind.spread is not None else "",
            two_figures(kind.uncertainty),
            *([strip([float(piece.weight) for piece in kind.pieces.values()], 16) if kind.pieces else ""] * roomy),
        )
    to.print(summary)
    said = "± u: standard uncertainty of one piece, or of a lot's mean, from the scale (GUM, JCGM 100:2008)"
    to.print(words(said, DIM))
    for kind in figures.weighings.values():
        for remark in _remarks(kind):
            to.print(Padding(line((f"{kind.title}: ", "bold"), *remark), (0, 0, 0, 2)))


def _extreme(piece: PieceWeight | None) -> tuple[str, str]:
    return (fixed(piece.weight, piece.decimals), piece.piece) if piece else ("lot", "")


def _remarks(kind: KindSummary) -> list[list[tuple[object, str] | str]]:
    remarks: list[list[tuple[object, str] | str]] = []
    if kind.spread is not None and kind.count > 1 and not kind.sorting_helps:
        told = fixed(kind.smallest_difference, 2)
        spread = fixed(kind.spread, kind.decimals)
        remarks.append([(f"sorting these will not help: they differ by {spread} g, the scale tells {told} g", DOUBT)])
    for stated in kind.stated:
        off = (stated.mean if stated.mean is not None else kind.mean) - stated.value
        way = "over" if off > 0 else "under"
        said = "as stated" if off == 0 else f"mean {fixed(abs(off), kind.decimals + 1)} {way}"
        remarks.append([f"the maker states {fixed(stated.value, kind.decimals)} g, {said}"])
    return remarks


def draw_kind(to: Console, kind: KindSummary, sessions: Sequence[WeighingSession]) -> None:
    """Every piece of one kind, heaviest first."""
    counted = f"{kind.count} piece{'s' if kind.count != 1 else ''}"
    heading(to, kind.title.capitalize(), f"{counted}, mean {fixed(kind.mean, kind.decimals + 1)} g")
    pieces = sorted(kind.pieces.values(), key=lambda piece: -piece.weight)
    if pieces:
        listing = table(("piece", "left"), ("g", "right"), ("from mean", "right"), ("", "left"), ("read", "left"))
        span = max(float(kind.spread or 0), 1e-9)
        for piece in pieces:
            read = piece.as_read if len(piece.readings) > 1 else ""
            before = f"before {fixed(piece.earlier[-1].weight, piece.decimals)}" if piece.earlier else ""
            row(
                listing,
                piece.piece,
                fixed(piece.weight, piece.decimals),
                fixed(piece.weight - kind.mean, kind.decimals + 1, sign=True),
                bar(float(piece.weight - pieces[-1].weight) / span, 24),
                "  ".join(filter(None, (piece.session.id, read, before))),
            )
        to.print(listing)
    else:
        to.print(words(f"weighed as a lot: {kind.per_cylinder} for each cylinder or rod", DIM))
    for remark in _remarks(kind):
        to.print(line(*remark))
    draw_sessions(to, _sessions([session for session in sessions if session.what == kind.what]))


def _sessions(sessions: Sequence[WeighingSession]) -> Iterator[tuple[WeighingSession, str]]:
    for session in sessions:
        kind = WEIGHING_KINDS.get(session.what)
        yield session, f"{kind.title if kind else session.what} ({len(session.readings) or 'lot'})"

"""The compression of every cylinder, part by part, and what would bring it to a wanted ratio."""

from collections.abc import Iterable, Mapping

from rich.console import Console
from rich.text import Text

from buildbook.figures import Figures
from buildbook.figures.compression import CompressionFigures, CylinderCompression
from buildbook.figures.fits import limit_words
from buildbook.figures.lengths import Ruler
from buildbook.figures.to_ratio import CylinderChange, ToRatio
from buildbook.fits.decision import COVERAGE, Estimate, Verdict
from buildbook.quantities import fixed
from buildbook.views.fits import SAID
from buildbook.views.ruler import ends_of, gauge
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, heading, line, row, table, words


def draw_compression(to: Console, figures: Figures, change: ToRatio | None) -> None:
    found = figures.compression
    ruler = Ruler(figures.build.shop)
    heading(to, "Compression", figures.build.name)
    if not found.cylinders:
        said = "no chamber, dish or deck has been measured yet; 'buildbook measure chamber_volume' takes chambers down"
        to.print(words(said, DIM))
        return
    to.print(words(f"cc and {ruler.unit}; ± U is twice the standard uncertainty (k = 2)", DIM))
    _draw_ratios(to, figures, ruler)
    _draw_spread(to, figures)
    _draw_volumes(to, found)
    _draw_remarks(to, found)
    if change is not None and change.cylinders:
        _draw_change(to, figures, ruler, change)


def _draw_ratios(to: Console, figures: Figures, ruler: Ruler) -> None:
    """Every cylinder's ratio, and where it lies between the limits."""
    found = figures.compression
    fits, quenches = ({fit.place: fit for fit in figures.fits.of(kind)} for kind in ("compression_ratio", "quench"))
    to.print()
    limits = {limit_words(fit) for fit in fits.values()} - {""}
    unlimited = "" if "compression_ratio" in figures.build.limits else "no limit in build.yaml"
    to.print(line(("Ratio", BOLD), ("  " + ("; ".join(limits) or unlimited), DIM)))
    ends = ends_of(each for fit in fits.values() for each in (*fit.bounds.ends, *fit.reach)) if fits else (0.0, 1.0)
    with_dynamic = any(each.dynamic is not None for each in found.cylinders.values())
    listing = table(("cyl", "left"), ("static", "right"), ("± U", "right"))
    if with_dynamic:
        listing.add_column("dynamic", justify="right", no_wrap=True)
    listing.add_column("quench", justify="right", no_wrap=True)
    low, high = (fixed(end, 2) for end in ends)
    listing.add_column(f"{low}{high:>{max(15 - len(low), len(high) + 1)}}" if fits else "", no_wrap=True)
    listing.add_column("", overflow="fold")
    for name, each in found.cylinders.items():
        fit = fits.get(name)
        lacking = f"missing: {', '.join(each.missing)}" if each.missing else "these make no ratio"
        said, style = SAID[fit.verdict] if fit else (lacking, DOUBT)
        picture = gauge(float(fit.value), COVERAGE * fit.uncertainty, fit.bounds.ends, ends) if fit else ""
        dynamic = [fixed(each.dynamic, 2) if each.dynamic is not None else ""] if with_dynamic else []
        row(
            listing,
            words(name, BOLD),
            words(fixed(each.ratio.value, 2) if each.ratio else "", BOLD),
            fixed(COVERAGE * each.ratio.uncertainty, 3) if each.ratio else "",
            *dynamic,
            _quench(ruler, each.quench, quenches[name].verdict) if each.quench else "",
            picture,
            words(said, style),
        )
    to.print(listing)
    if fits:
        to.print(words(f"The scale runs from {low} to {high}, and not from zero.", DIM))
    limit = next((limit_words(fit, ruler.text) for fit in quenches.values()), "")
    if limit:
        to.print(words(f"quench: {limit}; low, high, or ? where it may be either", DIM))
    if with_dynamic and found.intake_closes is not None:
        closes = f"dynamic: the intake valve closes {found.intake_closes:g}° after bottom dead centre, by build.yaml"
        to.print(words(f"{closes}; common practice, by geometry alone", DIM))


def _draw_spread(to: Console, figures: Figures) -> None:
    for fit in figures.fits.of("compression_spread"):
        said, style = SAID[fit.verdict]
        value = f"{fixed(fit.value, 2)} ± {fixed(COVERAGE * fit.uncertainty, 3)}"
        limit = limit_words(fit)
        to.print(line(("Spread ", BOLD), (value, BOLD), "  highest less lowest", f", {limit}  " if limit else "",
                      (said, style)))  # fmt: skip


def _draw_volumes(to: Console, found: CompressionFigures) -> None:
    """What is left above each piston at top dead centre, part by part."""
    complete = [each for each in found.cylinders.values() if each.volume is not None]
    if not complete:
        return
    to.print()
    to.print(line(("Left above the piston at top dead centre", BOLD), ("  cc", DIM)))
    titles = ("swept", "chamber", "dish", "gasket", "deck", "lands", "total")
    listing = table(("cyl", "left"), *((title, "right") for title in titles))
    for each in complete:
        assert each.volume is not None
        assert each.swept is not None
        row(
            listing,
            words(each.cylinder, BOLD),
            words(fixed(each.swept, 1), DIM),
            *(_poured(each, name) for name in ("chamber", "dish")),
            *(fixed(part, 2) for part in (each.volume.gasket, each.volume.deck)),
            _poured(each, "ring_land"),
            words(fixed(each.volume.total, 1), BOLD),
        )
    to.print(listing)


def _poured(cylinder: CylinderCompression, name: str) -> str:
    """A volume with the digits that were read; nothing where nobody measured it."""
    known = cylinder.parts.get(name)
    if known is None:
        return ""
    return fixed(known.value, max((each.decimals for each in known.came), default=1))


def _draw_remarks(to: Console, found: CompressionFigures) -> None:
    """What was taken from paper or left out, and what is missing, with the cylinders where not all are meant."""
    assumed = _by_remark({name: each.assumed for name, each in found.cylinders.items()})
    if assumed:
        said = "; ".join(_of(remark, cylinders, found) for remark, cylinders in assumed.items())
        to.print(line(("Assumed: ", BOLD), (said, DIM)))
    for remark, cylinders in _by_remark({name: each.missing for name, each in found.cylinders.items()}).items():
        to.print(line(("Missing: ", BOLD), (_of(remark, cylinders, found), DOUBT)))


def _by_remark(remarks: Mapping[str, Iterable[str]]) -> dict[str, list[str]]:
    turned: dict[str, list[str]] = {}
    for cylinder, said in remarks.items():
        for remark in said:
            turned.setdefault(remark, []).append(cylinder)
    return turned


def _of(remark: str, cylinders: list[str], found: CompressionFigures) -> str:
    return remark if len(cylinders) == len(found.cylinders) else f"{remark} (cylinder {', '.join(cylinders)})"


def _draw_change(to: Console, figures: Figures, ruler: Ruler, change: ToRatio) -> None:
    to.print()
    to.print(line((f"To {fixed(change.wanted, 2)}", BOLD), (f"  {change.wanted_from}; each way by itself", DIM)))
    metal, volume = ("gasket", "makes", "quench", "cut", "quench"), ("chamber", "makes")
    for titles in ((*metal, *volume),) if to.width >= 70 else (metal, volume):
        listing = table(("cyl", "left"), *((title, "right") for title in titles))
        for name, ways in change.cylinders.items():
            of_metal = (*_gasket(ruler, ways), *_cut(ruler, ways)) if "gasket" in titles else ()
            row(listing, words(name, BOLD), *of_metal, *(_chamber(ways) if "chamber" in titles else ()))
        to.print(listing)
    if not all(way.possible for ways in change.cylinders.values() for way in ways):
        to.print(words("none: cannot be had (metal would have to go back, or the piston strikes the head)", DIM))
    caution = (
        "A gasket or a cut serves a whole bank, and changes the quench and the distance from valve to piston by as "
        "much: measure both again. Metal does not go back."
    )
    to.print(words(caution, DOUBT))


def _gasket(ruler: Ruler, ways: CylinderChange) -> tuple[object, ...]:
    way = ways.gasket
    if not way.possible or way.becomes is None:
        return words(_NOT, DIM), "", ""
    return (
        ruler.text(way.change, 2, sign=True),
        words(ruler.text(way.becomes, 2), BOLD),
        _quench(ruler, way.quench, way.verdict),
    )


def _cut(ruler: Ruler, ways: CylinderChange) -> tuple[object, ...]:
    way = ways.cut
    if not way.possible:
        return words(_NOT, DIM), ""
    return words(ruler.text(way.change, 2), BOLD), _quench(ruler, way.quench, way.verdict)


def _chamber(ways: CylinderChange) -> tuple[object, ...]:
    way = ways.chamber
    if not way.possible or way.becomes is None:
        return words(_NOT, DIM), ""
    return fixed(way.change, 1, sign=True), words(fixed(way.becomes, 1), BOLD)


_NOT = "none"
_MARKED: dict[Verdict, tuple[str, str]] = {"under": (" low", BAD), "over": (" high", BAD), "cannot tell": (" ?", DOUBT)}


def _quench(ruler: Ruler, quench: Estimate | None, verdict: Verdict) -> Text:
    """The quench, marked where it is outside its limits or cannot be told from them."""
    mark, style = _MARKED.get(verdict, ("", ""))
    return words(ruler.text(quench.value, 2) + mark if quench else "", style)

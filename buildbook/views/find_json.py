"""What `find` found, as JSON: figures in their own units, g and mm, as numbers."""

from buildbook.book.library import FigureMatch, Match, Search
from buildbook.views.fits_json import limit


def found(search: Search) -> list[dict[str, object]]:
    """Each engine or build with every field and every figure by which it was found."""
    return [
        {
            "engine": each.engine,
            "build": each.build,
            "opened": each.opened,
            "matches": [*map(_text, each.texts), *map(_figure, each.figures)],
        }
        for each in search.found
    ]


def _text(match: Match) -> dict[str, object]:
    return {
        "field": match.field,
        "text": match.text,
        "match": match.text[match.start : match.end],
        "times": match.times,
    }


def _figure(match: FigureMatch) -> dict[str, object]:
    named, bounds = match.named, match.limit
    return {
        "field": named.name,
        "value": float(named.value),
        "uncertainty": named.uncertainty,
        "unit": named.unit,
        "limit": limit(bounds) if bounds else None,
        "condition": match.condition.text,
    }

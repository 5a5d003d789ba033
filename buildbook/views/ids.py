"""Many ids in few words."""

import re
from collections.abc import Iterable


def runs(ids: Iterable[str]) -> str:
    """`G1 to G8, H2`: three ids or more that follow each other by number are named by their ends."""
    found: list[list[str]] = []
    for id_ in ids:
        if found and _next(found[-1][-1]) == id_:
            found[-1].append(id_)
        else:
            found.append([id_])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in found)


def _next(id_: str) -> str | None:
    match = re.fullmatch(r"(.*?)(0|[1-9][0-9]{0,8})", id_)
    return f"{match[1]}{int(match[2]) + 1}" if match else None

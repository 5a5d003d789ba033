"""Writes the tables of a book as CSV files or as one SQLite file: the whole of it or nothing."""

import csv
import errno
import io
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path

from buildbook.book.export.rows import Exported, Row, Value
from buildbook.book.export.tables import Column, Table, tables
from buildbook.book.places import UNFINISHED, Misuse, shown
from buildbook.book.writing import sync_folder
from buildbook.quantities import is_plain_number

# Marks a database as an export of ours ("bbex"), which the next one may take the place of.
APPLICATION = 0x62626578

# What a spreadsheet would run as a formula; the wide ones where it is set to an East Asian language.
_RUNS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "\ufeff")

_GUARD = (
    "In the CSV files, a text that a spreadsheet would take for a formula has an apostrophe before it; the numbers "
    "in it have not."
)

DESCRIBED = Table(
    "columns",
    "What every column of every table says.",
    (
        Column("table_name", "name", "The table; in CSV, the file of that name."),
        Column("column_name", "name", "The column."),
        Column("type", "name", "TEXT, INTEGER or REAL."),
        Column("unit", "name", "Its unit; `unit`: another column of the row says it; `written`: digits as text."),
        Column("description", "text", f"What it says. {_GUARD}"),
        Column("table_description", "text", "What the table holds."),
    ),
    lambda out: (),
)  # fmt: skip


def _all_tables(out: Exported) -> Iterator[tuple[Table, list[Row]]]:
    every = (*tables(), DESCRIBED)
    described: list[Row] = [
        (table.name, column.name, column.type, column.unit, column.description, table.said)
        for table in every
        for column in table.columns
    ]
    for table in every:
        yield table, described if table is DESCRIBED else [tuple(row) for row in table.rows(out)]


def to_sqlite(out: Exported, path: Path) -> dict[str, int]:
    """One SQLite file; texts stand in it as they are. Returns how many rows each table has. Raises Misuse where
    something else is there."""
    import sqlite3

    if path.exists() and not _our_database(path):
        _in_the_way(path)
    descriptor, temporary = tempfile.mkstemp(dir=_folder(path), prefix=f".{path.name}.", suffix=UNFINISHED)
    os.close(descriptor)
    counts: dict[str, int] = {}
    try:
        with closing(sqlite3.connect(temporary)) as database:
            database.execute(f"PRAGMA application_id = {APPLICATION}")
            # nobody sees the file before it is whole and on the disk: no journal is needed on the way there
            database.execute("PRAGMA journal_mode = OFF")
            database.execute("PRAGMA synchronous = OFF")
            with database:
                database.execute("BEGIN")
                for table, rows in _all_tables(out):
                    columns = ", ".join(f'"{column.name}" {column.type}' for column in table.columns)
                    database.execute(f'CREATE TABLE "{table.name}" ({columns})')
                    marks = ", ".join("?" * len(table.columns))
                    database.executemany(f'INSERT INTO "{table.name}" VALUES ({marks})', rows)
                    counts[table.name] = len(rows)
        os.chmod(temporary, 0o644)
        with open(temporary, "rb") as file:
            os.fsync(file.fileno())
        os.replace(temporary, path)
    except BaseException as error:
        with suppress(OSError):
            os.unlink(temporary)
        if isinstance(error, sqlite3.OperationalError):  # a disk that is full, say: an error of the system as any other
            raise OSError(errno.EIO, str(error), str(path)) from error
        raise
    sync_folder(path.absolute().parent)
    return counts


def to_csv(out: Exported, folder: Path) -> dict[str, int]:
    """A folder of CSV files (RFC 4180, UTF-8 with a byte-order mark, without which some spreadsheets garble names).
    Returns how many rows each has. Raises Misuse where the folder holds anything else than an earlier export."""
    if folder.exists() and not _our_folder(folder):
        _in_the_way(folder)
    place = Path(tempfile.mkdtemp(dir=_folder(folder), prefix=f".{folder.name}.", suffix=UNFINISHED))
    aside = place.with_name(f"{place.name.removesuffix(UNFINISHED)}.old{UNFINISHED}")
    counts: dict[str, int] = {}
    try:
        for table, rows in _all_tables(out):
            text = io.StringIO(newline="")
            writer = csv.writer(text)
            writer.writerow(column.name for column in table.columns)
            writer.writerows([_guarded(value) for value in row] for row in rows)
            with (place / f"{table.name}.csv").open("wb") as file:
                file.write(b"\xef\xbb\xbf" + text.getvalue().encode())
                file.flush()
                os.fsync(file.fileno())
            counts[table.name] = len(rows)
        place.chmod(0o755)
        if folder.exists():
            folder.rename(aside)
        try:
            place.rename(folder)
        except BaseException:
            if aside.exists():
                aside.rename(folder)
            raise
    finally:
        shutil.rmtree(place, ignore_errors=True)
        if folder.exists():
            shutil.rmtree(aside, ignore_errors=True)
    sync_folder(folder.absolute().parent)
    return counts


def _guarded(value: Value) -> Value:
    """A value that no spreadsheet runs."""
    if isinstance(value, str) and value.startswith(_RUNS) and not is_plain_number(value):
        return f"'{value}"
    return value


def _our_folder(folder: Path) -> bool:
    """Whether a folder holds nothing, or an earlier export and nothing else."""
    if not folder.is_dir() or folder.is_symlink():
        return False
    ours = {f"{table.name}.csv" for table in (*tables(), DESCRIBED)}
    inside = {entry.name for entry in folder.iterdir()}
    return not inside or (f"{DESCRIBED.name}.csv" in inside and inside <= ours)


def _our_database(path: Path) -> bool:
    """Whether a file is an SQLite database with our mark (its application id is in bytes 68 to 71 of the header)."""
    if not path.is_file():
        return False
    with path.open("rb") as file:
        header = file.read(100)
    return header.startswith(b"SQLite format 3\0") and header[68:72] == APPLICATION.to_bytes(4, "big")


def _in_the_way(path: Path) -> None:
    what = f"{shown(path)} is there already, and holds something else than an export of buildbook"
    raise Misuse(what, "name another; nothing was written")


def _folder(path: Path) -> Path:
    folder = path.absolute().parent
    if not folder.is_dir():
        raise Misuse(f"there is no folder {shown(folder)}", "make it first, or name another; nothing was written")
    return folder

"""A table of readings is read as a spreadsheet wrote it, and what cannot be read is named by file and line."""

import io
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.bench.table import rows
from buildbook.book.places import Misuse

Written = list[tuple[str, list[str]]]


def read(folder: Path, content: str | bytes) -> Written:
    path = folder / "readings.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return [(row.name, row.texts) for row in rows(str(path))]


@pytest.mark.parametrize(
    ("content", "found"),
    [
        ("R1,611.4\nR2,611.9\n", [("R1", ["611.4"]), ("R2", ["611.9"])]),
        ("piece,reading\nR1,611.4\n", [("R1", ["611.4"])]),
        ("Piece;Reading;Reading 2\nR1;611,4;611,5\n", [("R1", ["611.4", "611.5"])]),
        ("R1;611,40 g\nR2;+,5\nR3;21.57 oz\n", [("R1", ["611.40 g"]), ("R2", ["+.5"]), ("R3", ["21.57 oz"])]),
        ("R1\t611,4\n", [("R1", ["611.4"])]),
        ("P1+N1,655.3,655.2\n", [("P1+N1", ["655.3", "655.2"])]),
        ("1,front,62.180,62.179\n", [("1/front", ["62.180", "62.179"])]),
        ("place,along,within,reading\n3,intake,10,2.31\n1,,,0.48\n", [("3/intake/10", ["2.31"]), ("1", ["0.48"])]),
        ("# weighed by hand; twice\n\nR1,611.4\n# done\n", [("R1", ["611.4"])]),
        ("\ufeffR1,611.4\r\nR2,611.9\r", [("R1", ["611.4"]), ("R2", ["611.9"])]),
        ("sep=;\r\nR1;611,4\r\n", [("R1", ["611.4"])]),
        ('"R1","611.4"\n', [("R1", ["611.4"])]),
        ("piece,maker,weight\nR1,our own,611.4\n", [("R1", ["611.4"])]),
        ("R1;1.234,5\n", [("R1", ["1.234,5"])]),  # thousands: left for the reading of numbers to refuse
        ("", []),
    ],
)  # fmt: skip
def test_a_table_is_read_as_it_was_written(tmp_path: Path, content: str, found: Written) -> None:
    assert read(tmp_path, content) == found


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("R1,611.4\nR2,\n", "readings.csv:2: there is no reading"),
        ("rod,grams\nR1,611.4\n", "readings.csv:1: there is no reading"),
        ("piece,grams\nR1,611.4\n", "readings.csv:1: no column is named"),
        ("R1,611.4\n,611.9\n", "readings.csv:2: no place is named"),
        ('R1,611.4\n"R2,611.9\nR3,612.0\n', "readings.csv:3: this is no CSV"),
        (b"R1,611.4 \xb5\n", "no UTF-8"),
        ("R1,611.4\npiece,reading\n", "readings.csv:2: there is no reading"),
    ],
)
def test_what_cannot_be_read_is_named_by_file_and_line(tmp_path: Path, content: str | bytes, said: str) -> None:
    with pytest.raises(Misuse, match=said) as raised:
        read(tmp_path, content)
    assert raised.value.remedy


def test_a_file_that_is_not_there_is_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(Misuse, match="No such file"):
        rows(str(tmp_path / "nothing.csv"))
    with pytest.raises(Misuse, match="directory"):
        rows(str(tmp_path))


def test_standard_input_is_read_like_a_file(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(b"R1;611,4\nR2\n")))
    with pytest.raises(Misuse, match="standard input:2"):
        rows("-")


def names() -> st.SearchStrategy[str]:
    return st.from_regex(r"[A-Z][0-9]{1,2}", fullmatch=True)


@given(st.lists(st.tuples(names(), st.lists(st.decimals(0, 999, places=2).map(str), min_size=1, max_size=4))),
       st.sampled_from(",;\t"), st.booleans())  # fmt: skip
def test_every_reading_of_a_table_is_taken_with_its_digits(
    tmp_path_factory: pytest.TempPathFactory, table: Written, delimiter: str, comma: bool
) -> None:
    lines = [delimiter.join([name, *texts]) for name, texts in table]
    text = "\n".join(lines)
    if comma and delimiter != ",":
        text = text.replace(".", ",")
    assert read(tmp_path_factory.getbasetemp(), text) == [(name, list(texts)) for name, texts in table]

"""The one way into HTML: user text is data."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.pages.html import POLICY, Markup, element, own, page, section, table, text
from pages.printshop import Seen


@given(st.text())
def test_whatever_a_user_writes_is_read_back_as_text_and_opens_no_element(said: str) -> None:
    seen = Seen(element("p", said, title=said))
    assert [name for name, _ in seen.elements] == ["p"]
    shown = "".join(seen.words)
    assert [mark for mark in shown if mark.isprintable()] == list(shown)
    if said.isprintable():
        assert shown == said
        assert seen.all("p") == [{"title": said}]


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("<script>alert(1)</script>", "&lt;script&gt;alert(1)&lt;/script&gt;"),
        ('" onload="x', "&quot; onload=&quot;x"),
        ("\x1b[31mred", "\\u001b[31mred"),
        ("a\u202ebc", "a\\u202ebc"),  # turns what follows round
        ("two\nlines", "two lines"),
    ],
)
def test_markup_escape_codes_and_direction_marks_are_shown_and_do_nothing(written: str, shown: str) -> None:
    assert text(written) == shown


def test_a_name_in_another_direction_is_kept_apart_from_what_stands_beside_it() -> None:
    assert own("מנוע") == "<bdi>מנוע</bdi>"


def test_only_a_word_too_long_for_a_column_may_be_broken_anywhere() -> None:
    assert "class" not in own("R1 R2 R3 R4 R5 R6 R7 R8 R9")
    assert 'class="long"' in own("R" * 60)


def test_markup_goes_in_as_it_is_and_nothing_else_does() -> None:
    assert element("p", Markup("<b>x</b>"), "<b>") == "<p><b>x</b>&lt;b&gt;</p>"
    assert element("p", ["a", None, [1]], class_="x", hidden=True, id=None, data_of=2.50) == (
        '<p class="x" hidden data-of="2.5">a1</p>'
    )


def test_a_table_leaves_out_what_says_nothing() -> None:
    shown = Seen(table(["piece", "g>", "note"], [["R1", "1.0", ""], ["R2", "2.0", ""]]))
    assert [each.get("scope") for each in shown.all("th")] == ["col", "col", "row", "row"]
    assert "note" not in shown.text
    assert table(["piece"], []) == ""


def test_a_page_may_load_nothing_and_run_nothing() -> None:
    seen = Seen(page("title", section("Part", "said"), kind="shop", paper="A4"))
    (policy,) = [each for each in seen.all("meta") if each.get("http-equiv") == "Content-Security-Policy"]
    assert policy["content"] == POLICY
    assert POLICY.startswith("default-src 'none'; style-src 'unsafe-inline'")
    assert seen.all("html") == [{"lang": "en"}]

"""What is sent of a text, and what a terminal gets where the screen shows no pop-up."""

import io
import os
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reminders.popups.popup import PopUp
from reminders.popups.terminal import ring
from reminders.popups.texts import BODY_UNITS, TITLE_UNITS, clipped, lines_of, ready, units

ANY_TEXT = st.text(st.characters(), max_size=300)  # halves of pairs and control characters too


@given(ANY_TEXT, ANY_TEXT)
def test_whatever_is_said_what_is_sent_can_be_shown(title: str, body: str) -> None:
    sent = ready(PopUp(title, body))
    assert sent.title.strip()
    assert "\n" not in sent.title
    for text in (sent.title, sent.body):
        assert not {unicodedata.category(letter) for letter in text.replace("\n", "")} & {"Cc", "Cs", "Zl", "Zp"}
        text.encode("utf-8")
    assert units(sent.title) <= TITLE_UNITS
    assert units(sent.body) <= BODY_UNITS
    assert ready(sent) == sent


@given(st.text(st.sampled_from("ab é💧👩🏽\u200d⚕\ufe0f\u0301"), max_size=40), st.integers(1, 30))
def test_a_text_is_cut_between_letters_and_says_so(text: str, most: int) -> None:
    cut = clipped(text, most)
    assert units(cut) <= most
    if units(text) <= most:
        assert cut == text
    else:
        assert cut.endswith("…")
        rest = text[len(cut) - 1 :]
        assert text.startswith(cut[:-1])
        if len(cut) > 1 and not rest.startswith(" "):
            assert not cut[:-1].endswith("\u200d")
            assert unicodedata.category(rest[0]) not in {"Mn", "Cf", "Sk"}


def test_the_longest_that_is_not_cut() -> None:
    assert clipped("a" * 61 + "💧", 63) == "a" * 61 + "💧"
    assert clipped("a" * 62 + "💧", 63) == "a" * 62 + "…"
    assert clipped("a" * 60 + "💧💧", 63) == "a" * 60 + "💧…"
    assert clipped("👩🏽\u200d⚕ goes", 6) == "…"


def test_lines_stay_lines() -> None:
    assert lines_of("one\r\ntwo\u2028three\x0bfour \x85five") == ["one", "two", "three", "four", "five"]


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    encoding: str = "utf-8"

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("urgent", "bells"), [(False, "\a"), (True, "\a\a\a")])
def test_a_terminal_gets_the_text_with_a_bell_and_no_command(urgent: bool, bells: str) -> None:
    terminal = Terminal()
    assert ring(PopUp("Red \x1b[2Jlumen", "flush\nnow\x9b31m\0", urgent), terminal)
    assert terminal.getvalue() == f"{bells}*** Red [2Jlumen ***\nflush\nnow31m\n"


def test_a_terminal_of_few_letters_gets_a_mark_for_the_others() -> None:
    terminal = Terminal()
    terminal.encoding = "ascii"
    assert ring(PopUp("Zoë", "💧"), terminal)
    assert terminal.getvalue() == "\a*** Zo? ***\n?\n"


def test_what_is_no_terminal_gets_nothing() -> None:
    log = io.StringIO()
    assert not ring(PopUp("Red lumen", "flush"), log)
    assert log.getvalue() == ""


def test_a_terminal_that_is_gone_is_no_terminal() -> None:
    closed = Terminal()
    closed.close()
    assert not ring(PopUp("Red lumen", "flush"), closed)
    unknown = Terminal()
    unknown.encoding = "no such encoding"
    assert not ring(PopUp("Red lumen", "flush"), unknown)


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="not run: there are no pseudo-terminals")
def test_a_terminal_that_hung_up_harms_nobody() -> None:
    ours, theirs = os.openpty()
    with os.fdopen(theirs, "w", encoding="utf-8") as stream:
        assert ring(PopUp("Red lumen", "flush"), stream)
        assert os.read(ours, 100) == b"\a*** Red lumen ***\r\nflush\r\n"
        os.close(ours)
        assert not ring(PopUp("Red lumen", "flush"), stream)

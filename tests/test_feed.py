"""The calendar's address: what a phone is answered, by RFC 9110; and that it is always a whole calendar.

The numbers of sections are those of RFC 9110 (HTTP Semantics).
"""

import json
import os
import threading
from collections.abc import Sequence
from itertools import cycle
from pathlib import Path
from typing import Any

import httpx
import icalendar
import pytest
from applying import events
from asgi import ask
from feed_home import FeedHome, feed_home  # noqa: F401
from starlette.datastructures import Headers
from starlette.types import ASGIApp

from reminders.feed_file import Body, Feed
from reminders.files import FileError, write_files
from reminders.phones import Phone
from reminders.publishing import renew
from reminders.web.feed import answered, feed_gate
from reminders.web.guard import guarded

CHANGED = 784_111_777
"""Sun, 06 Nov 1994 08:49:37 GMT, the date of the examples in 5.6.7."""

DATES = {
    "IMF-fixdate": "Sun, 06 Nov 1994 08:49:37 GMT",
    "RFC 850": "Sunday, 06-Nov-94 08:49:37 GMT",
    "asctime": "Sun Nov  6 08:49:37 1994",
}
"""One moment in each of the three forms that a recipient must accept (5.6.7)."""

BEFORE, AFTER = "Sun, 06 Nov 1994 08:49:36 GMT", "Sun, 06 Nov 1994 08:49:38 GMT"
ETAG = '"xyzzy"'
BODY = Body(b"a calendar", ETAG, CHANGED)


def status(headers: Sequence[tuple[str, str]], since: float = 3600.0) -> int:
    """Return the status of an answer to a request with some headers, so many seconds after the change."""
    sent = Headers(raw=[(name.lower().encode(), value.encode("latin-1")) for name, value in headers])
    return answered(sent, BODY, lambda: CHANGED + since).status_code


CONDITIONS: dict[str, tuple[list[tuple[str, str]], int]] = {
    # 13.1.2: If-None-Match, by weak comparison (8.8.3.2); examples of 13.1.2
    "no condition": ([], 200),
    "the same tag": ([("If-None-Match", '"xyzzy"')], 304),
    "the same tag, weak": ([("If-None-Match", 'W/"xyzzy"')], 304),
    "a list that names it": ([("If-None-Match", '"xyzzy", "r2d2xxxx", "c3piozzzz"')], 304),
    "a list that names it weakly": ([("If-None-Match", 'W/"r2d2xxxx", W/"xyzzy"')], 304),
    "a list without blanks": ([("If-None-Match", '"r2d2xxxx","xyzzy"')], 304),
    "a list with empty entries (5.6.1)": ([("If-None-Match", ', "r2d2xxxx",, "xyzzy" ,')], 304),
    "two lines are one list (5.3)": ([("If-None-Match", '"r2d2xxxx"'), ("If-None-Match", '"xyzzy"')], 304),
    "any": ([("If-None-Match", "*")], 304),
    "another tag": ([("If-None-Match", '"other"')], 200),
    "another case": ([("If-None-Match", '"XYZZY"')], 200),
    "without its quotes": ([("If-None-Match", "xyzzy")], 200),
    "part of it": ([("If-None-Match", '"xyz"')], 200),
    "in a longer one": ([("If-None-Match", '"a, xyzzy"')], 200),
    "nothing in it": ([("If-None-Match", "")], 200),
    "letters beyond ASCII": ([("If-None-Match", '"\xe9"')], 200),
    # 13.1.3: If-Modified-Since, ignored beside If-None-Match, or if it is no date
    **{f"not changed since, as {form}": ([("If-Modified-Since", date)], 304) for form, date in DATES.items()},
    "not changed since a later moment": ([("If-Modified-Since", AFTER)], 304),
    "changed since": ([("If-Modified-Since", BEFORE)], 200),
    "no date": ([("If-Modified-Since", "yesterday")], 200),
    "a date that there is not": ([("If-Modified-Since", "Sun, 99 Nov 1994 08:49:37 GMT")], 200),
    "a year beyond all years": ([("If-Modified-Since", "Sun, 06 Nov 99999999999 08:49:37 GMT")], 200),
    "two dates are none": ([("If-Modified-Since", AFTER), ("If-Modified-Since", AFTER)], 200),
    "another tag rules out the date": ([("If-None-Match", '"other"'), ("If-Modified-Since", AFTER)], 200),
    "the same tag rules out the date": ([("If-None-Match", '"xyzzy"'), ("If-Modified-Since", BEFORE)], 304),
    # 13.1.1: If-Match, by strong comparison; 13.1.4: If-Unmodified-Since, ignored beside it; 13.2.2: these come first
    "must be the same": ([("If-Match", '"xyzzy"')], 200),
    "must be one of these": ([("If-Match", '"other", "xyzzy"')], 200),
    "must be any": ([("If-Match", "*")], 200),
    "must be another": ([("If-Match", '"other"')], 412),
    "a weak tag is never strongly the same": ([("If-Match", 'W/"xyzzy"')], 412),
    "must not have changed since": ([("If-Unmodified-Since", AFTER)], 200),
    "must not have changed since before": ([("If-Unmodified-Since", BEFORE)], 412),
    "no date to compare with": ([("If-Unmodified-Since", "yesterday")], 200),
    "must be the same, and the date is ignored": ([("If-Match", ETAG), ("If-Unmodified-Since", BEFORE)], 200),
    "must be another, and is the same": ([("If-Match", '"other"'), ("If-None-Match", ETAG)], 412),
    "must be the same, and is": ([("If-Match", ETAG), ("If-None-Match", ETAG)], 304),
    # 14.2: a server may ignore Range, and with it If-Range
    "part of it is not given": ([("Range", "bytes=0-3")], 200),
}


@pytest.mark.parametrize("case", CONDITIONS)
def test_conditions(case: str) -> None:
    """RFC 9110, 13, row by row."""
    headers, expected = CONDITIONS[case]
    assert status(headers) == expected


def test_a_moment_that_two_changes_may_share_is_none_to_compare_by() -> None:
    """8.8.2.2: within two seconds of a change another one may fall into the same second, and a date cannot tell them apart."""
    assert status([("If-Modified-Since", AFTER)], since=1.0) == 200
    assert status([("If-Modified-Since", AFTER)], since=-5.0) == 200  # the clock was set back
    assert status([("If-None-Match", ETAG)], since=1.0) == 304
    fresh = answered(Headers({}), BODY, lambda: CHANGED + 1.0)
    assert "last-modified" not in fresh.headers
    assert answered(Headers({}), BODY, lambda: CHANGED + 5.0).headers["last-modified"] == DATES["IMF-fixdate"]


# At its address


@pytest.fixture(name="phone")
def a_phone(home: FeedHome) -> Phone:
    """Give a test a phone of the household."""
    return home.desk.phones.add("Ana")


@pytest.fixture(name="app")
def an_app(home: FeedHome) -> ASGIApp:
    """Give a test the feed alone, as the home network reaches it."""
    return guarded([feed_gate(home.desk)], now=home.clock)


def get(app: ASGIApp, phone: Phone, method: str = "GET", **headers: str) -> httpx.Response:
    """Ask for a phone's calendar."""
    return ask(app, method, f"/f/{phone.token}/calendar.ics", headers=headers)


def test_the_calendar_is_served_as_it_was_published(home: FeedHome, phone: Phone, app: ASGIApp) -> None:
    """Byte for byte, as what it is, to be asked for again each time, and kept by nobody on the way."""
    os.utime(home.file, (CHANGED, CHANGED))
    answer = get(app, phone)
    assert (answer.status_code, answer.content) == (200, home.file.read_bytes())
    etag = answer.headers.pop("ETag")
    assert etag.startswith('"') and len(etag) == 34
    assert dict(answer.headers) == {
        "content-type": "text/calendar; charset=utf-8",
        "content-length": str(len(answer.content)),
        "content-disposition": 'inline; filename="calendar.ics"',
        "cache-control": "private, no-cache",
        "last-modified": DATES["IMF-fixdate"],
        "date": "Mon, 01 Jun 2026 13:00:00 GMT",
        "referrer-policy": "no-referrer",
        "x-content-type-options": "nosniff",
        "cross-origin-resource-policy": "same-origin",
        "content-security-policy": "default-src 'none'; frame-ancestors 'none'; base-uri 'none'",
    }
    calendar = icalendar.Calendar.from_ical(answer.content)
    assert "METHOD" not in calendar
    assert "SOURCE" not in calendar, "it would be the secret address"
    assert phone.token.encode() not in answer.content
    assert str(calendar["REFRESH-INTERVAL"].params["VALUE"]) == "DURATION"


@pytest.mark.parametrize("same", [False, True], ids=["changed", "not changed"])
def test_a_head_is_a_get_without_its_body(home: FeedHome, phone: Phone, app: ASGIApp, same: bool) -> None:
    """9.3.2; a 304 has no body either way (15.4.5) and carries what the 200 would have of these."""
    headers = {"If-None-Match": get(app, phone).headers["ETag"]} if same else {}
    got, head = get(app, phone, **headers), get(app, phone, "HEAD", **headers)
    assert got.status_code == head.status_code == (304 if same else 200)
    assert dict(got.headers) == dict(head.headers)
    assert head.content == b""
    assert bool(got.content) is not same
    for name in ("ETag", "Cache-Control", "Date"):
        assert name in got.headers
    assert ("Content-Type" in got.headers) is not same


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PROPFIND", "OPTIONS", "TRACE"])
def test_nothing_else_can_be_done_with_it(app: ASGIApp, phone: Phone, method: str) -> None:
    """15.5.6: 405 with what is allowed."""
    answer = get(app, phone, method)
    assert answer.status_code == 405
    assert set(answer.headers["Allow"].split(", ")) == {"GET", "HEAD"}


@pytest.mark.parametrize(
    "path",
    [
        "/f/{0}",
        "/f/{0}/",
        "/f/{0}/calendar",
        "/f/{0}/calendar.ics/",
        "/f/{0}/../x",
        "/f/{0}/plan.json",
        "/{0}/calendar.ics",
    ],
)
def test_nothing_else_is_there(app: ASGIApp, phone: Phone, path: str) -> None:
    """No list of files, no page."""
    assert ask(app, "GET", path.format(phone.token)).status_code in (308, 404)


def test_only_a_phones_own_address_leads_there(home: FeedHome, app: ASGIApp, phone: Phone) -> None:
    """Not a wrong one, not the page's, not that of a phone that was removed; all get the same answer."""
    ben = home.desk.phones.add("Ben")
    assert get(app, ben).status_code == 200
    home.desk.phones.revoke("Ben")
    texts = set()
    for token in (ben.token, home.desk.secret, "x", "é", "%ff", phone.token[:-1], ""):
        answer = ask(app, "GET", f"/f/{token}/calendar.ics")
        assert answer.status_code == 404
        texts.add(answer.text)
    assert len(texts) == 1
    assert get(app, phone).status_code == 200


def test_when_a_phone_asked_is_remembered(home: FeedHome, phone: Phone, app: ASGIApp) -> None:
    """With what it was given, whether anew or as unchanged; to look at the head alone is not to have it."""
    get(app, phone, "HEAD")
    assert home.desk.phones.named("Ana").fetched is None
    home.clock.now += 30
    etag = get(app, phone).headers["ETag"]
    assert home.desk.phones.named("Ana") == Phone("Ana", phone.token, phone.added, home.clock.now, etag)
    home.clock.now += 30
    get(app, phone, **{"If-None-Match": etag})
    assert home.desk.phones.named("Ana").fetched == home.clock.now
    assert home.desk.phones.named("Ana").has == etag


# What changes


def test_a_report_is_in_the_next_answer(home: FeedHome, phone: Phone, app: ASGIApp) -> None:
    """What changed is another calendar by tag and date; what did not is the same."""
    before = get(app, phone)
    home.reports("06-01 09:05", "started velmorin")
    after = get(app, phone, **{"If-None-Match": before.headers["ETag"]})
    assert after.status_code == 200
    assert after.headers["ETag"] != before.headers["ETag"]
    changed = events(after.content)
    assert any(event.summary == "Done: Red lumen: start velmorin 1 g" for event in changed.values())
    home.renews("06-01 09:06")
    assert get(app, phone, **{"If-None-Match": after.headers["ETag"]}).status_code == 304


def test_two_changes_in_one_second_are_two(home: FeedHome, phone: Phone) -> None:
    """By date too, though the file's date has not moved, or was set back: a phone may know no tags."""
    feed = Feed(home.file.parent)
    bodies = []
    for number in range(3):
        write_files(home.file.parent, {home.file.name: f"calendar {number}".encode()})
        os.utime(home.file, (CHANGED - 10 * number, CHANGED - 10 * number))
        body = feed.body()
        assert body is not None
        bodies.append(body)
    assert [body.content for body in bodies] == [b"calendar 0", b"calendar 1", b"calendar 2"]
    assert bodies[0].changed < bodies[1].changed < bodies[2].changed
    write_files(home.file.parent, {home.file.name: b"calendar 2"})
    assert feed.body() == bodies[2], "written again, it is the same"


def test_a_calendar_that_is_replaced_while_it_is_read_is_seen_the_next_time(
    home: FeedHome, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was read of the old file is not taken for the new one."""
    feed = Feed(home.file.parent)
    opened = Path.open

    def overtaken(self: Path, *how: Any) -> Any:
        file = opened(self, *how)
        monkeypatch.undo()
        write_files(home.file.parent, {home.file.name: b"a new one"})
        return file

    monkeypatch.setattr(Path, "open", overtaken)
    first, second = feed.body(), feed.body()
    assert first is not None and second is not None
    assert b"BEGIN:VCALENDAR" in first.content
    assert second.content == b"a new one"


def test_without_a_calendar_a_phone_keeps_what_it_has(home: FeedHome, phone: Phone) -> None:
    """15.6.4: 503 and when to ask again. A 404, or an empty calendar, would empty the phone's."""
    content = home.file.read_bytes()
    app = guarded([feed_gate(home.desk)])
    home.file.unlink()
    answer = get(app, phone)
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "60")
    assert home.desk.phones.named("Ana").fetched is None
    home.file.write_bytes(content)
    assert get(app, phone).content == content
    home.file.unlink()
    assert get(app, phone).content == content, "what was read last is still right"


def test_a_plan_that_fails_leaves_the_last_good_calendar(home: FeedHome, phone: Phone, app: ASGIApp) -> None:
    """A file with errors, and a disk that is full."""
    before = get(app, phone).content
    good = home.plan.read_text(encoding="utf-8")
    home.plan.write_text(good.replace("60 min", "60 apples"), encoding="utf-8")
    home.clock.now += 86_400
    home.keeper.refresh()
    assert home.keeper.trouble
    assert get(app, phone).content == before
    home.plan.write_text(good, encoding="utf-8")
    home.keeper.refresh()
    with pytest.MonkeyPatch.context() as patch:

        def full(folder: Path, contents: Any, *, private: bool) -> None:
            raise FileError("The disk is full.")

        patch.setattr("reminders.publishing.write_files", full)
        assert renew(home.household, home.keeper.instant)[1] == ["The disk is full."]
    assert get(app, phone).content == before


def test_whoever_asks_while_it_is_replaced_gets_a_whole_calendar(home: FeedHome, phone: Phone) -> None:
    """Many at once, over the network, while it is replaced again and again by calendars of other lengths.

    Each answer is one of those that were published, whole, with the tag that belongs to it.
    """
    first = home.file.read_bytes()
    calendar = icalendar.Calendar.from_ical(first)
    versions = {first}
    for number in range(1, 6):
        calendar["DESCRIPTION"] = "x" * 20_000 * number
        versions.add(bytes(calendar.to_ical()))
    faults: list[str] = []
    tags: dict[str, bytes] = {}

    def reads(address: str) -> None:
        try:
            with httpx.Client() as http:
                for _ in range(70):  # together fewer than are answered at once
                    answer = http.get(address)
                    whole = answer.status_code == 200 and answer.content in versions
                    if not whole or tags.setdefault(answer.headers["ETag"], answer.content) != answer.content:
                        faults.append(f"{answer.status_code}, {len(answer.content)} bytes")
        except Exception as error:
            faults.append(repr(error))

    with home.listening():
        address = f"{home.desk.home.removesuffix(home.desk.secret + '/')}f/{phone.token}/calendar.ics"
        threads = [threading.Thread(target=reads, args=(address,)) for _ in range(3)]
        for thread in threads:
            thread.start()
        for content in cycle(sorted(versions, key=len)):
            if not any(thread.is_alive() for thread in threads):
                break
            write_files(home.file.parent, {home.file.name: content})
    assert faults == []
    assert len(tags) > 1
    for content in tags.values():
        assert len(icalendar.Calendar.from_ical(content).walk("VEVENT")) == len(events(first))


def test_the_etag_is_remembered_over_a_restart(home: FeedHome, phone: Phone, app: ASGIApp) -> None:
    """It comes of the bytes alone, so a phone that asks a daemon started anew is told that nothing changed (R24)."""
    etag = get(app, phone).headers["ETag"]
    again = FeedHome(home.folder)
    assert get(guarded([feed_gate(again.desk)]), phone, **{"If-None-Match": etag}).status_code == 304
    kept = home.secrets.with_name(f"{home.secrets.stem}-fetched.json")
    assert [has for _at, has in json.loads(kept.read_bytes())["fetched"].values()] == [etag]

"""The page over HTTP: what it shows, what it lets people do, and what it lets nobody do."""

import re
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import pytest
import requests

from monitor.logic.scene import Scene
from monitor.page.actions import ACTIONS
from monitor.page.drawing import section
from page.served import Served, a_scene, served

HOSTILE = "<script>alert(1)</script>\"'&{{7*7}}"


@pytest.fixture(scope="module")
def scene() -> Scene:
    """The rig with the mains off, event 1 open."""
    return a_scene()


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One page for the tests of this file."""
    with served(tmp_path_factory.mktemp("state")) as here:
        yield here


@pytest.fixture
def page(server: Served, scene: Scene) -> Served:
    """The page with the scene of the outage and a watch that refuses nothing."""
    server.seen, server.told, server.refuse = scene, [], ""
    return server


def test_nobody_sees_anything_without_logging_in(page: Served) -> None:
    """Every address but the two doors leads to the door, and shows nothing of the rig."""
    for path in ("/", "/event/1", "/advice", "/advice/no-flow"):
        answer = requests.get(page.url + path, allow_redirects=False, timeout=5)
        assert 303 == answer.status_code
        assert answer.headers["location"].startswith("/log-in")
        assert "" == answer.text
    for path in ("/main", "/live"):
        assert 401 == requests.get(page.url + path, timeout=5).status_code


def test_front_page_says_first_whether_the_larvae_get_water(page: Served) -> None:
    """The first heading is the sentence; the event that calls follows before any drawing."""
    text = page.person().get(f"{page.url}/").text
    first = re.search(r"<h1[^>]*>(.*?)</h1>", text, re.DOTALL)

    assert first is not None
    assert first[1].startswith("LT1: water is flowing, 6.0 L/min. SUPPLY LOST: the siphon breaks")
    assert text.index("NOBODY HAS IT") < text.index("<svg")
    assert "On duty: Tavrin, then" in text


def test_front_page_is_one_small_answer(page: Served) -> None:
    """At most 60 kB, and nothing else has to be fetched for it."""
    answer = page.person().get(f"{page.url}/")

    assert len(answer.content) <= 60_000
    assert [] == re.findall(r'(?:src|href)="(?!/|data:,|#)', answer.text)
    assert [] == re.findall(r"<(?:link|script|img)[^>]*(?:src|href)=\"/", answer.text)


@pytest.mark.parametrize(
    ("action", "fields", "told"),
    [
        ("take", {"event": "1", "minutes": "30"}, {"kind": "take", "event": 1, "minutes": 30.0}),
        ("take", {"event": "1", "minutes": ""}, {"kind": "take", "event": 1, "minutes": None}),
        ("here", {"event": "1"}, {"kind": "here", "event": 1}),
        ("cannot", {"event": "1"}, {"kind": "cannot", "event": 1}),
        ("flow", {"event": "1"}, {"kind": "flow", "event": 1}),
        (
            "done",
            {"event": "1", "line": "dead count", "value": "160"},
            {"kind": "done", "event": 1, "text": "dead count: 160"},
        ),
        ("hold", {"water": "S1", "minutes": "2,5"}, {"kind": "hold", "text": "S1", "minutes": 2.5}),
        ("hold-end", {"water": "S1"}, {"kind": "hold end", "text": "S1"}),
        ("note", {"text": "stone 3 weak"}, {"kind": "note", "text": "stone 3 weak"}),
        (
            "shelve",
            {"alarm": "sump low/SU1", "minutes": "45", "reason": "water change"},
            {
                "kind": "shelve",
                "minutes": 45.0,
                "text": "water change",
                "details": {"alarm": "sump low/SU1"},
            },
        ),
        (
            "restore",
            {"alarm": "sump low/SU1"},
            {"kind": "restore", "text": "", "details": {"alarm": "sump low/SU1"}},
        ),
        (
            "works",
            {"what": "painting", "at": "B1", "minutes": "180", "second": "oskel"},
            {
                "kind": "works",
                "minutes": 180.0,
                "text": "painting",
                "details": {"at": "B1", "second": "oskel"},
            },
        ),
        (
            "works-end",
            {"at": "B1", "left": "nothing"},
            {"kind": "works end", "text": "nothing", "details": {"at": "B1"}},
        ),
        ("swap", {"with": "oskel", "day": "Thu"}, {"kind": "swap", "text": "oskel Thu"}),
        ("sleep", {}, {"kind": "sleep", "text": ""}),
        ("storm", {"until": "Sat 22:00"}, {"kind": "storm", "text": "Sat 22:00"}),
        ("storm-end", {}, {"kind": "storm end", "text": ""}),
        ("fuel", {"hours": "5,5"}, {"kind": "fuel", "minutes": 330.0, "details": {"of": ""}}),
        ("fuel-over", {}, {"kind": "fuel", "text": "over", "details": {"of": ""}}),
    ],
)
def test_pressing_reaches_the_watch(
    page: Served, action: str, fields: dict[str, str], told: dict[str, object]
) -> None:
    """Each button becomes one request in the person's name, and is confirmed in words."""
    someone = page.person()
    answer = page.press(someone, action, **fields)

    assert (303, "/") == (answer.status_code, answer.headers["location"])
    assert [{"ask": "answer", "as": "tavrin", "way": "page", **told}] == page.told
    assert 'class="said"' in someone.get(f"{page.url}/").text
    assert 'class="said"' not in someone.get(f"{page.url}/").text


@pytest.mark.parametrize(
    ("action", "fields"),
    [
        ("shelve", {"alarm": "x", "minutes": "45"}),
        ("shelve", {"alarm": "x", "reason": "why"}),
        ("shelve", {"minutes": "45", "reason": "why"}),
        ("works", {"what": "painting", "at": "B1", "second": "oskel"}),
        ("works", {"what": "painting", "at": "B1", "minutes": "30"}),
        ("works-end", {"at": "B1"}),
        ("storm", {}),
        ("swap", {}),
        ("hold", {}),
        ("note", {"text": "  "}),
    ],
)
def test_what_is_missing_is_asked_for(page: Served, action: str, fields: dict[str, str]) -> None:
    """Nothing is put aside without an end and a reason, and the watch is not troubled."""
    assert 409 == page.press(page.person(), action, **fields).status_code
    assert [] == page.told


@pytest.mark.parametrize("path", ["/", "/tonight", "/aside", "/advice", "/event/1"])
def test_every_page_is_there(page: Served, path: str) -> None:
    """For who acts and for who looks; who looks gets no button but to log out."""
    assert 200 == page.person().get(page.url + path).status_code
    guest = page.person("guest", "look").get(page.url + path)
    assert (200, False) == (guest.status_code, "/do/" in guest.text)


def test_what_the_watch_refuses_is_told(page: Served) -> None:
    """The reason of the watch stands on the page."""
    page.refuse = "event 1 is closed"
    answer = page.press(page.person(), "take", event="1")

    assert 409 == answer.status_code
    assert "event 1 is closed" in answer.text


@pytest.mark.parametrize("action", ACTIONS)
def test_nothing_is_done_by_following_a_link(page: Served, action: str) -> None:
    """GET does nothing, whoever follows it."""
    someone = page.person()
    query = {"event": "1", "minutes": "30", "form": page.form(someone)}

    assert 405 == someone.get(f"{page.url}/do/{action}", params=query).status_code
    assert [] == page.told


@pytest.mark.parametrize("token", [None, "", "0" * 64, HOSTILE])
def test_forms_of_other_sites_are_refused(page: Served, token: str | None) -> None:
    """Without the token of this very session nothing is done."""
    fields = {"event": "1"} | ({} if token is None else {"form": token})
    answer = page.person().post(f"{page.url}/do/here", fields)

    assert 403 == answer.status_code
    assert [] == page.told


def test_the_token_of_another_session_is_refused(page: Served) -> None:
    """A form made for one person does not work for another."""
    other = page.form(page.person("oskel"))
    answer = page.person().post(f"{page.url}/do/here", {"event": "1", "form": other})

    assert (403, []) == (answer.status_code, page.told)


def test_who_may_look_may_not_act(page: Served) -> None:
    """No buttons, and a press by hand is refused."""
    guest = page.person("guest", "look")

    assert "/do/" not in guest.get(f"{page.url}/").text
    assert 403 == page.press(guest, "take", event="1").status_code
    assert [] == page.told


def test_a_session_is_not_taken_from_outside(page: Served) -> None:
    """A session name put into the browser beforehand is worth nothing after logging in."""
    someone = requests.Session()
    someone.cookies.set("session", "chosen-by-an-attacker")
    fields = {"code": page.access.admit("tavrin", "act"), "password": "12345678"}
    answer = someone.post(f"{page.url}/first", fields, allow_redirects=False)
    cookie = answer.headers["set-cookie"]

    assert "chosen-by-an-attacker" not in cookie
    assert {"httponly", "samesite=lax"} <= {part.strip().lower() for part in cookie.split(";")}
    assert page.access.visitor("chosen-by-an-attacker") is None


@pytest.mark.parametrize(
    "back",
    [
        "https://example.org/",
        "//example.org",
        "/\\example.org",
        "/do/cannot",
        "javascript:alert(1)",
    ],
)
def test_nobody_is_led_elsewhere(page: Served, back: str) -> None:
    """After logging in or pressing, a person stays on this page."""
    someone = page.person()
    answer = page.press(someone, "here", event="1", back=back)
    login = someone.post(
        f"{page.url}/log-in",
        {"person": "tavrin", "password": "0123 4567", "back": back},
        allow_redirects=False,
    )
    assert ["/", "/"] == [answer.headers["location"], login.headers["location"]]


def test_every_answer_is_dressed(page: Served) -> None:
    """The headers that keep other sites and scripts out are on pages, errors and redirects."""
    someone = page.person()
    for path in ("/", "/no-such-page", "/main", "/log-in", "/do/take"):
        headers = someone.get(page.url + path, allow_redirects=False).headers
        assert "nosniff" == headers["x-content-type-options"]
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert "no-store" == headers["cache-control"]


def test_hostile_names_are_shown_as_text(page: Served, scene: Scene) -> None:
    """Names of tags, people, owed lines and faults cannot become markup or be worked out."""
    hostile = {
        **scene,
        "place": HOSTILE,
        "duty": [HOSTILE],
        "faults": [HOSTILE],
        "tags": [{**tag, "id": HOSTILE, "fault": HOSTILE} for tag in scene["tags"]],
        "events": [{**e, "line": HOSTILE, "owed": [HOSTILE]} for e in scene["events"]],
        "waters": [{**w, "sentence": HOSTILE, "flow": HOSTILE} for w in scene["waters"]],
        "vessels": [{**v, "level_shown": HOSTILE} for v in scene["vessels"]],
    }
    page.seen = hostile
    text = page.person().get(f"{page.url}/").text

    assert "<script>alert" not in text
    assert "&lt;script&gt;alert" in text
    assert "{{7*7}}" in text


@pytest.mark.parametrize(
    "fields",
    [
        {"event": "41; drop"}, {"event": "-1"}, {"event": "²"}, {"event": "9" * 400},
        {"event": "1", "minutes": "NaN"}, {"event": "1", "minutes": "1e9"},
        {"event": "1", "minutes": "soon"}, {},
    ],
)  # fmt: skip
def test_nonsense_is_refused_in_words(page: Served, fields: dict[str, str]) -> None:
    """What is no number never reaches the watch."""
    answer = page.press(page.person(), "take", **fields)

    assert 409 == answer.status_code
    assert [] == page.told


def test_a_flood_in_one_form_is_refused(page: Served) -> None:
    """A form of a megabyte is not read."""
    answer = page.press(page.person(), "note", text="x" * 1_000_000)

    assert 403 == answer.status_code
    assert [] == page.told


def test_dead_watch_is_said_first(tmp_path: Path) -> None:
    """When the watch does not answer, the page says that nobody is called, and to go and look."""
    with served(tmp_path, with_watch=False) as page:
        text = page.person().get(f"{page.url}/").text
        assert "The watch does not answer. Nobody is called by it. Go and look." in text


def test_response_pages_are_there(page: Served) -> None:
    """The page of a condition is one link from its event, and reads as HTML."""
    someone = page.person()
    front = someone.get(f"{page.url}/").text
    name = re.search(r'href="/advice/([a-z-]+)"', front)

    assert name is not None
    assert "<h1>" in someone.get(f"{page.url}/advice/{name[1]}").text
    assert 404 == someone.get(f"{page.url}/advice/no-such").status_code
    assert 404 == someone.get(f"{page.url}/advice/..%2f..%2fREADME").status_code


def test_first_actions_stand_with_the_event(page: Served) -> None:
    """The three first actions of the worst condition, before the drawing; not the whole page."""
    text = page.person().get(f"{page.url}/").text
    assert text.index("<h3>First</h3>") < text.index("<svg")
    first = text[text.index("<h3>First</h3>") :].partition("</ol>")[0]

    assert 3 == first.count("<li>")
    assert "Shut the siphon valve fully" in first
    assert "Supply back: wait until" not in first


def test_drawing_is_sound_whatever_is_missing(scene: Scene) -> None:
    """With any vessel, size or value missing, and with hostile names, it stays well-formed SVG."""
    full = {vessel["id"]: vessel for vessel in scene["vessels"]}
    bare = {
        name: {**vessel, "area": None, "lip": None, "rim": None, "level": None}
        for name, vessel in full.items()
    }
    hostile = {name: {**vessel, "id": HOSTILE, "level": 99.0} for name, vessel in full.items()}
    water = scene["waters"][0]
    for vessels in (full, bare, hostile):
        for missing in ({}, {"header": None}, {"sump": None}, {"tank": None}):
            for flows in ("yes", "none", "presumed none", "not seen"):
                drawn = section({**water, **missing, "flows": flows}, vessels)
                root = ElementTree.fromstring(drawn)
                assert "svg" == root.tag
                assert (flows in ("none", "presumed none") and missing != {"tank": None}) == (
                    "NO FLOW" in "".join(text.text or "" for text in root.iter("text"))
                )


def test_curves_need_a_record(page: Served) -> None:
    """Without one the page says so; a span that there is not is not found."""
    someone = page.person()
    assert 503 == someone.get(f"{page.url}/curves/day").status_code
    assert 404 == someone.get(f"{page.url}/curves/year").status_code

"""What is answered on the control socket, and who is taken for whom."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from monitor.clock import VirtualClock
from monitor.config import snapshot
from monitor.control import Request
from monitor.desk import LONGEST_TEXT, Desk
from monitor.errors import ControlError, HoldwaterError, RefusedInput, SetupError
from monitor.inputs import Answer, SetupChange
from monitor.live import Inbox, Post
from monitor.logic.state import Durable, Running, State
from monitor.loop import Snapshot
from monitor.setup import Setup
from shell.fakes import SETUP, START

SAMPLE = Path(__file__).parents[2] / "sample_config" / "ostrel-hill"


class PromptInbox(Inbox):
    """An inbox whose inputs meet their fate at once."""

    def __init__(self) -> None:
        super().__init__()
        self.posts: list[Post] = []
        self.refusal = ""

    def put(self, post: Post) -> None:
        self.posts.append(post)
        if post.reply is not None:
            post.reply(self.refusal)


class Bench:
    """A desk before a loop that takes everything."""

    def __init__(self, setup: Setup = SETUP) -> None:
        self.inbox = PromptInbox()
        self.checked: list[Setup] = []
        state = State(Durable(), Running(started=START.elapsed))
        snapshot = Snapshot(setup, state, START)
        self.desk = Desk(self.inbox, VirtualClock(START), lambda: snapshot, self.checked.append)

    def ask(self, user: str = "root", **data: Any) -> dict[str, Any]:
        return self.desk.handlers[data["ask"]](Request(user, data))

    def take(self, user: str, **data: Any) -> dict[str, Any]:
        return self.ask(user, ask="answer", kind="take", **data)


@pytest.fixture
def bench() -> Bench:
    """A desk of the small set-up."""
    return Bench()


def test_answer_goes_in_as_it_was_given(bench: Bench) -> None:
    """Kind, event, minutes and text of an answer reach the loop with the moment and the way."""
    response = bench.take("tavrin", event=41, minutes=30, text="on  my\nway")

    assert "tavrin" == response["who"]
    assert [Answer(START, "take", "tavrin", 41, 30.0, "on my way", "command")] == [
        post.item for post in bench.inbox.posts
    ]


def test_peer_user_is_the_person(bench: Bench) -> None:
    """Whoever has the name of a person on this machine is that person, with or without --as."""
    assert "oskel" == bench.take("oskel", event=41)["who"]
    assert "oskel" == bench.take("oskel", event=41, **{"as": "oskel"})["who"]


def test_nobody_answers_for_another_under_an_own_name(bench: Bench) -> None:
    """A person cannot answer as somebody else from the own account."""
    with pytest.raises(RefusedInput, match="you are oskel here"):
        bench.take("oskel", event=41, **{"as": "tavrin"})


def test_shared_account_names_the_person(bench: Bench) -> None:
    """From an account of nobody in the set-up, --as says who answers."""
    assert "tavrin" == bench.take("pi", event=41, **{"as": "tavrin"})["who"]


@pytest.mark.parametrize(
    ("named", "words"),
    [("", r"add --as PERSON \(tavrin, oskel\)"), ("korrin", "'korrin' is nobody here")],
)
def test_unknown_people_are_refused(bench: Bench, named: str, words: str) -> None:
    """An answer of nobody in the set-up never reaches the loop."""
    with pytest.raises(RefusedInput, match=words):
        bench.take("root", event=41, **{"as": named})
    assert [] == bench.inbox.posts


def test_refusal_of_the_loop_is_told(bench: Bench) -> None:
    """What the logic cannot take comes back with its reason."""
    bench.inbox.refusal = "there is no event 99"
    with pytest.raises(RefusedInput, match="there is no event 99"):
        bench.take("tavrin", event=99)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"kind": "open the valve"}, "kind: it is one of take"),
        ({"kind": None}, "kind: it is one of"),
        ({"kind": ["take"]}, "kind: it is one of"),
        ({"event": "41"}, "event: give a whole number"),
        ({"event": True}, "event: give a whole number"),
        ({"event": 41.0}, "event: give a whole number"),
        ({"minutes": "30"}, "minutes: give a number"),
        ({"minutes": True}, "minutes: give a number"),
        ({"minutes": -1}, "minutes: give a number from 0"),
        ({"minutes": float("nan")}, "minutes: give a number from 0"),
        ({"minutes": float("inf")}, "minutes: give a number from 0"),
        ({"minutes": 10**400}, "minutes: give a number from 0"),
        ({"text": 5}, "text: give text"),
        ({"text": "x" * (LONGEST_TEXT + 1)}, "text: longer than"),
        ({"as": {}}, "as: give text"),
    ],
)
def test_hostile_answers_are_told_what_is_wrong(
    bench: Bench, data: dict[str, Any], words: str
) -> None:
    """A field of the wrong kind is named, and nothing goes in."""
    with pytest.raises(ControlError, match=words):
        bench.ask("pi", **{"ask": "answer", "kind": "take", "event": 41, "as": "tavrin"} | data)
    assert [] == bench.inbox.posts


def test_control_characters_do_not_get_into_the_record(bench: Bench) -> None:
    """Free text is kept as one line of printable signs."""
    bench.take("tavrin", event=41, text="\x1b[2Jgone\x00\u202e  back")
    (post,) = bench.inbox.posts

    assert "[2Jgone back" == post.item.text  # type: ignore[union-attr]


def test_views_are_lines(bench: Bench) -> None:
    """Now and events come as lines to print; another view is refused."""
    assert ["No open events."] == bench.ask(ask="snapshot", view="events")["lines"]
    assert "Ostrel" in bench.ask(ask="snapshot", view="now")["lines"][0]
    with pytest.raises(ControlError, match="view: it is one of now, events"):
        bench.ask(ask="snapshot", view="all")


def test_why_needs_a_number(bench: Bench) -> None:
    """Why asks for an event."""
    assert bench.ask(ask="why", event=41)["lines"]
    with pytest.raises(ControlError, match="event: give the number"):
        bench.ask(ask="why")


def test_new_set_up_goes_in_as_the_next_version() -> None:
    """A valid folder becomes a change with the next number, who, why, and its files."""
    bench = Bench(replace(SETUP, version=4))
    files = snapshot(SAMPLE)
    response = bench.ask("tavrin", ask="apply", files=files, reason="new pump")
    (post,) = bench.inbox.posts
    assert isinstance(post.item, SetupChange)

    assert (5, "tavrin") == (response["version"], response["who"])
    assert (5, "tavrin", "new pump") == (
        post.item.setup.version,
        post.item.who,
        post.item.reason,
    )
    assert files == post.files
    assert [post.item.setup] == bench.checked


def test_invalid_set_up_leaves_the_old_one(bench: Bench) -> None:
    """A folder with a mistake is refused with every problem, and nothing goes in."""
    files = snapshot(SAMPLE) | {"limits.toml": "quiet_hours = 5\nnonsense = 1\n"}
    with pytest.raises(SetupError) as caught:
        bench.ask("tavrin", ask="apply", files=files, reason="new pump")

    assert 2 <= len(caught.value.problems)
    assert [] == bench.inbox.posts


def test_set_up_that_cannot_run_here_leaves_the_old_one(bench: Bench) -> None:
    """What this watch cannot run is refused before it goes in."""

    def no(_setup: Setup) -> None:
        raise HoldwaterError("there is no secret named broker")

    bench.desk._check = no
    with pytest.raises(HoldwaterError, match="no secret named broker"):
        bench.ask("tavrin", ask="apply", files=snapshot(SAMPLE), reason="new pump")
    assert [] == bench.inbox.posts


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"files": None}, "files: give an object"),
        ({"files": {"rig.toml": 5}}, "files: give an object"),
        ({"reason": ""}, "reason: say why"),
        ({"reason": " \n"}, "reason: say why"),
        ({"reason": None}, "reason: give text"),
    ],
)
def test_hostile_changes_are_told_what_is_wrong(
    bench: Bench, data: dict[str, Any], words: str
) -> None:
    """A change without files or reason is refused with the key."""
    with pytest.raises(ControlError, match=words):
        bench.ask("tavrin", **{"ask": "apply", "files": {}, "reason": "x"} | data)


def test_loop_that_does_not_answer_is_told(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever waits too long is told that the watch has the answer, and where to look."""
    monkeypatch.setattr("monitor.live.SETTLED_WITHIN", 0.0)
    monkeypatch.setattr(bench.inbox, "put", bench.inbox.posts.append)
    with pytest.raises(ControlError, match="did not get to it in time"):
        bench.take("tavrin", event=41)
    assert 1 == len(bench.inbox.posts)


def test_details_go_in_by_their_words(bench: Bench) -> None:
    """What an answer names besides reaches the loop in a fixed order; empty ones are left out."""
    details = {"every": "", "check": "read  the mark", "alarm": "sump low/warn"}
    bench.ask("tavrin", ask="answer", kind="withdraw", minutes=60, text="broken", details=details)
    said = bench.inbox.posts[-1].item
    assert isinstance(said, Answer)
    assert (("alarm", "sump low/warn"), ("check", "read the mark")) == said.details


@pytest.mark.parametrize(
    ("details", "words"),
    [
        ([], "details: give an object"),
        ("alarm", "details: give an object"),
        ({"alarm": 7}, "alarm: give text"),
        ({"alarm": "x" * 101}, "alarm: longer than 100"),
        ({"valve": "open"}, "details: its words are alarm"),
    ],
)
def test_details_that_are_none(bench: Bench, details: object, words: str) -> None:
    """Details of another kind, unknown words and long values never reach the loop."""
    with pytest.raises(ControlError, match=words):
        bench.ask("tavrin", ask="answer", kind="shelve", details=details)
    assert [] == bench.inbox.posts


def test_what_is_put_aside_is_shown(bench: Bench) -> None:
    """With nothing put aside it says so."""
    assert ["Nothing is put aside."] == bench.ask(ask="snapshot", view="aside")["lines"]

"""Notes of people: what they may hold, which of them stand, and their way into the record."""

import hashlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from monitor.archive import Note, Reader, Writer
from monitor.cli import commands
from monitor.clock import VirtualClock
from monitor.config import load_texts
from monitor.control import RECORD, Request
from monitor.errors import ControlError, HoldwaterError, RefusedInput
from monitor.inputs import Moment
from monitor.record.keeping import NoteDesk
from monitor.record.notes import KINDS, Amount, amount, check, notebook, standing
from monitor.record.photos import pieces
from record.test_table import files_of, kept, local

NOW = local("2026-10-18T12:00")
FIRST = Note(
    1, Moment(1, 0.0, NOW), NOW, "OH-07", "dead found", "tavrin", "command", {"count": "9"}
)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("250", Amount(250.0)),
        ("~250", Amount(250.0, True)),
        ("~ 1.5", Amount(1.5, True)),
        ("0,5", Amount(0.5)),
        ("Not countable", Amount(None)),
        ("0", Amount(0.0)),
    ],
)
def test_numbers_as_people_write_them(text: str, found: Amount) -> None:
    """Estimates, decimal commas and what could not be counted."""
    assert found == amount(text)


@pytest.mark.parametrize("text", ["", "many", "1,000", "-3", "1e9", "٣", "12 or 13", "9" * 40])
def test_what_is_no_number_is_refused(text: str) -> None:
    """Nothing is guessed; a comma before three digits may be a thousand."""
    with pytest.raises(RefusedInput, match=r"no number|may be"):
        amount(text)


@pytest.mark.parametrize(
    ("kind", "said", "told"),
    [
        ("dead", {}, "no kind of note; there are dead found"),
        ("dead found", {}, "count is missing"),
        ("dead found", {"count": "a few"}, "dead found, count: 'a few' is no number"),
        ("dead found", {"count": "3", "tank": "1"}, "no field 'tank'; it has count"),
        ("water test", {"of": "iron", "value": "1", "unit": "mg/L"}, "not one of salinity"),
        ("stage", {"stage": "hatched", "share": "180"}, "is no share"),
        ("note", {"text": "x" * 501}, "longer than 500"),
        ("note", {"text": "  "}, "is empty"),
    ],
)
def test_a_wrong_note_says_what_is_wrong(kind: str, said: dict[str, str], told: str) -> None:
    """Kind, field and remedy stand in the refusal."""
    with pytest.raises(RefusedInput, match=told):
        check(kind, said)


def test_an_amendment_stands_and_shows_what_was_before() -> None:
    """Amended twice, once by the first number, once by the second; withdrawn leaves nothing."""
    second = replace(FIRST, number=2, said={"count": "12"}, amends=1)
    third = replace(FIRST, number=3, said={"count": "~13"}, amends=2)
    other = replace(FIRST, number=4, at=NOW - 7200.0)
    late, found = standing([other, third, FIRST, second])
    assert (third, (FIRST, second)) == (found.note, found.earlier)
    assert Amount(13.0, True) == found.amount("count")
    assert (True, False) == (late.is_back_dated, found.is_back_dated)
    gone = replace(FIRST, number=5, kind="withdrawn", amends=3)
    assert (late,) == standing([FIRST, second, third, other, gone])


# Through the control socket


class Bench:
    """A desk on a small record; what it is asked."""

    def __init__(self, state: Path) -> None:
        self.state = state
        self.writer = Writer(state / RECORD, "ostrel-1", "OH", lambda wrong, over: None)
        self.writer.start(NOW)
        self.writer.open_boot("second", 90_000.0)
        clock = VirtualClock(Moment(2, 90_000.0, NOW))
        setup = load_texts(files_of(), 1)
        self.desk = NoteDesk(
            state / RECORD, self.writer.notes, clock, lambda: setup, lambda request: request.user
        )

    def note(self, *notes: dict[str, Any], **more: object) -> dict[str, Any]:
        data = {"ask": "note", "notes": list(notes), **more}
        return self.desk.handlers["note"](Request("oskel", data))


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A desk beside a writer."""
    state = kept(tmp_path, "2026-10-17T11:00", lambda pen: pen.set_up(pen.begin, 1, files_of()))
    bench = Bench(state)
    yield bench
    bench.writer.close(20.0)


DEAD = {"kind": "dead found", "said": {"count": "~250"}}


def test_notes_are_numbered_and_kept(bench: Bench) -> None:
    """Two notes at once, one back-dated by local time, then an amendment of it."""
    told = bench.note(DEAD, DEAD | {"at": "2026-10-17 09:00"})
    assert {"who": "oskel", "run": "OH-07", "numbers": [1, 2]} == told
    again = {"amends": 2, "said": {"count": "260"}, "reason": "counted again"}
    assert [3] == bench.note(again)["numbers"]
    with Reader(bench.state / RECORD) as reader:
        late, now = notebook(reader, "OH-07")
    assert (local("2026-10-17T09:00"), True) == (late.note.at, late.is_back_dated)
    assert ("260", "~250") == (late.note.said["count"], late.earlier[0].said["count"])
    assert (NOW, "oskel", "command") == (now.note.at, now.note.who, now.note.way)


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ({"notes": []}, "give a list"),
        ({"notes": [3]}, "each is an object"),
        ({"notes": [DEAD, {"kind": "dead found", "said": {"count": "x"}}]}, "no number"),
        ({"notes": [DEAD | {"at": "tomorrow"}]}, "is not a day and time"),
        ({"notes": [DEAD | {"at": 5}]}, "at: it is no text"),
        ({"notes": [DEAD | {"at": "2026-10-18 12:30"}]}, "lies ahead"),
        ({"notes": [DEAD | {"said": {"count": 3}}]}, "object of fields"),
        ({"notes": [DEAD | {"amends": 7, "reason": "x"}]}, "no note 7 stands"),
        ({"notes": [DEAD | {"amends": True}]}, "number of a note"),
        ({"notes": [{"kind": "withdrawn"}]}, "say which note"),
        ({"notes": [DEAD], "run": "OH-99"}, "the record has OH-07"),
        ({"notes": [DEAD], "way": "pigeon"}, "one of command"),
        ({"notes": [DEAD | {"origin": 3}]}, "origin: give text"),
    ],
)
def test_what_is_refused_leaves_nothing(bench: Bench, data: dict[str, Any], told: str) -> None:
    """All notes of a request are kept, or none; the refusal says why."""
    with pytest.raises(HoldwaterError, match=told):
        bench.desk.handlers["note"](Request("oskel", data))
    with Reader(bench.state / RECORD) as reader:
        assert [] == reader.notes()


def test_an_amendment_needs_a_reason_and_its_own_kind(bench: Bench) -> None:
    """A count becomes no feed; without a reason nothing is amended."""
    bench.note(DEAD)
    with pytest.raises(RefusedInput, match="say why"):
        bench.note(DEAD | {"amends": 1})
    with pytest.raises(RefusedInput, match="is dead found; amend it as such"):
        bench.note({"kind": "note", "said": {"text": "x"}, "amends": 1, "reason": "y"})
    assert [2] == bench.note({"kind": "withdrawn", "amends": 1, "reason": "other tank"})["numbers"]


def test_a_photo_comes_in_pieces_and_is_kept_by_its_hash(bench: Bench) -> None:
    """A file of 1.5 MB; sent again it is there already."""
    content = bytes(range(256)) * 6000
    sent = [bench.desk.handlers["photo"](Request("oskel", p)) for p in pieces(content)]
    assert [False, False, True] == [answer["complete"] for answer in sent]
    kept_as = bench.state / "photos" / hashlib.sha256(content).hexdigest()
    assert content == kept_as.read_bytes()
    first = next(iter(pieces(content)))
    assert {"complete": True} == bench.desk.handlers["photo"](Request("oskel", first))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"sha256": "../../etc"}, "hexadecimal"),
        ({"sha256": "0" * 64}, "came in damaged"),
        ({"from": -1}, "whole numbers"),
        ({"size": 10**12}, "at most"),
        ({"piece": "%%%"}, "base64"),
        ({"size": 1}, "beyond the size"),
    ],
)
def test_a_photo_that_is_not_what_it_says(bench: Bench, change: dict[str, Any], told: str) -> None:
    """No name leads out of the folder, and a damaged one is dropped."""
    (piece,) = pieces(b"photo")
    with pytest.raises((ControlError, RefusedInput), match=told):
        bench.desk.handlers["photo"](Request("oskel", piece | change))
    folder = bench.state / "photos"
    assert [] == (list(folder.iterdir()) if folder.exists() else [])


def test_notes_are_listed(bench: Bench) -> None:
    """A back-dated one says when it came in; what was amended is shown on request."""
    bench.note(DEAD | {"at": "2026-10-17 09:00"})
    bench.note({"amends": 1, "said": {"count": "260"}, "reason": "counted again"})
    words = ["notes", "--state", str(bench.state)]
    told = CliRunner().invoke(commands, words)
    line = "2  17 Oct 09:00  dead found: count 260  (oskel, command) entered 18 Oct 12:00"
    assert f"{line} in place of 1: counted again" == told.output.strip()
    assert "count ~250" in CliRunner().invoke(commands, [*words, "--all"]).output


def test_the_kinds_are_listed() -> None:
    """Every kind with its fields stands in the answer to `holdwater note`, and in the page."""
    told = CliRunner().invoke(commands, ["note"]).output
    page = (Path(__file__).parents[2] / "docs/reference/notes.md").read_text("utf-8")
    for kind, fields in KINDS.items():
        assert kind == "withdrawn" or kind in told
        assert f"| {kind} |" in page
        for name, field in fields.items():
            assert f"`{name}`{'*' if field.is_needed else ''}: {field.means}" in page

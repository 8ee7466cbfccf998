"""The report: its figures by hand, hostile words, names left out, and figures as files."""

import re
import tomllib
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner

from monitor.archive import Note, Reader
from monitor.cli import commands
from monitor.config import load_texts
from monitor.control import RECORD
from monitor.effects import JournalRow
from monitor.record.figures import Edge, Figure, Panel, Point, svg, thinned
from monitor.record.material import Material, material_of, veil_for
from monitor.record.report import html_of, report_of
from monitor.record.report.content import limit_changes
from monitor.record.report.events import not_delivered
from monitor.record.spans import Span
from monitor.simulator.nights import hold_overrun, night_outage
from record.nights import keep
from record.test_table import Pen, files_of, kept, local

HOSTILE = '<script>alert(1)</script>"><img src=x onerror=alert(2)> & call 9405550141'
PNG = b"\x89PNG\r\n"


class Seen(HTMLParser):
    """The elements of a page, with their attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}
        self.links += [value or "" for name, value in attrs if name in ("href", "src")]


def hostile(pen: Pen) -> None:
    """Words full of snares wherever people or files can put words."""
    label = ('label = "Ostrel"', 'label = "<b>&\\""')
    pen.set_up(pen.begin, 1, files_of(rig=label))
    pen.minutes(local("2026-10-18T01:00"), local("2026-10-18T02:00"))
    at = pen.at(local("2026-10-18T01:30"))
    rows = [
        JournalRow(at, "event", "41", "open", "urgent", f"mains lost/{HOSTILE}"),
        JournalRow(at, "answer", "41", HOSTILE, cause=HOSTILE, who=HOSTILE, text=HOSTILE),
        JournalRow(at, "answer", "41", "taken", who="tavrin", evidence=((HOSTILE, HOSTILE),)),
    ]
    pen.writer.commit(journal=rows)
    pen.set_up(local("2026-10-18T01:40"), 2, files_of(rig=label) | {"x<i>.toml": ""})


def page_of(state: Path, named: bool = True) -> str:
    """The report on a record."""
    with Reader(state / RECORD) as reader:
        material = material_of(reader)
        return html_of(report_of(material, veil_for(material, named)))


def test_hostile_words_stay_words(tmp_path: Path) -> None:
    """No element, attribute or link comes of what somebody wrote; and no number to call."""
    page = page_of(kept(tmp_path, "2026-10-18T01:00", hostile))
    seen = Seen()
    seen.feed(page)
    assert "&lt;script&gt;alert(1)" in page
    assert set() == seen.tags & {"script", "img", "b", "i", "iframe", "object", "a", "link"}
    assert set() == {name for name in seen.attributes if name.startswith("on")}
    assert [] == seen.links
    assert "9405550141" not in page
    assert "default-src 'none'" in page


def test_a_version_without_names(tmp_path: Path) -> None:
    """People of the set-up have stand-ins everywhere, ids too; with names they are there."""
    state = kept(tmp_path, "2026-10-18T01:00", hostile)
    assert "Tavrin" in page_of(state)
    page = page_of(state, named=False)
    assert "avrin" not in page
    assert "taken by person 1" in page


@pytest.mark.long
def test_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file named after the run, figures in both kinds, and nothing written over."""
    monkeypatch.chdir(tmp_path)
    kept(tmp_path, "2026-10-18T01:00", hostile)
    words = ["report", "--state", str(tmp_path), "--figures", "figures"]
    result = CliRunner().invoke(commands, words)
    assert 0 == result.exit_code, result.output
    assert "Protocol as lived" in (tmp_path / "oh-07.html").read_text("utf-8")
    drawn = {path.name: path.read_bytes() for path in (tmp_path / "figures").iterdir()}
    assert {"water.svg", "water.png", "temperature.svg", "temperature.png"} <= set(drawn)
    assert all(data.startswith(PNG) for name, data in drawn.items() if name.endswith(".png"))
    again = CliRunner().invoke(commands, words)
    assert "oh-07.html is there already" in str(again.exception)


def notes_of_two_days(pen: Pen) -> None:
    """Feeds, counts and tests on two days."""
    pen.set_up(pen.begin, 1, files_of())
    pen.minutes(local("2026-10-18T01:00"), local("2026-10-18T02:00"))
    pen.minutes(local("2026-10-19T01:00"), local("2026-10-19T02:00"))
    one, other = local("2026-10-18T01:30"), local("2026-10-19T01:30")
    written: list[tuple[float, str, dict[str, str]]] = [
        (one, "feeding", {"food": "rotifers", "amount": "~2", "unit": "million"}),
        (one, "feeding", {"food": "rotifers", "amount": "5", "unit": "million"}),
        (other, "feeding", {"food": "rotifers", "amount": "3", "unit": "million"}),
        (one, "dead found", {"count": "~160"}),
        (other, "dead found", {"count": "95"}),
        (one, "water test", {"of": "nitrate", "value": "10", "unit": "mg/L NO3"}),
        (other, "water test", {"of": "nitrate", "value": "11", "unit": "mg/L NO3"}),
        (other, "water change", {"litres": "110"}),
        (other, "observation", {"text": HOSTILE}),
        (other, "stage", {"stage": HOSTILE}),
    ]
    notes = [
        Note(number, pen.at(at), at, "OH-07", kind, "tavrin", "command", said)
        for number, (at, kind, said) in enumerate(written, 1)
    ]
    pen.writer.notes(notes)


def test_what_people_wrote_down(tmp_path: Path) -> None:
    """Totals, the peak day, ranges and a line a day, estimates marked; hostile words stay words."""
    state = kept(tmp_path, "2026-10-18T01:00", notes_of_two_days)
    with Reader(state / RECORD) as reader:
        material = material_of(reader)
        report = report_of(material, veil_for(material, named=True))
    facts = {fact.name: fact.words for fact in report.noted}
    assert "2 days, dph 12 to 13; ~10 million in all, most on dph 12 (7)" == facts["Fed: rotifers"]
    assert "~255 noted on 2 days; never the number lost" == facts["Dead found"]
    assert "10 to 11 mg/L NO3, 2 tests" == facts["Nitrate"]
    assert "110 litres on 1 day" == facts["Water changed"]
    assert "signed on 1 of 2 days" == facts["Daily observation"]
    assert ("12", "Sun 18 Oct", "~160", "rotifers ~7 million") == report.written.rows[0][:4]
    assert "Tavrin" == report.written.rows[1][-1]
    seen = Seen()
    seen.feed(html_of(report))
    assert set() == seen.tags & {"script", "img"}


def test_limit_changes() -> None:
    """A limit changed between two versions is told with both values; others are not."""
    before = load_texts(files_of(), 1)
    changed = replace(before.limits[0], on_delay=before.limits[0].on_delay + 60.0)
    after = replace(before, limits=(changed, *before.limits[1:-1]), worked_out={})
    one, other = limit_changes(before, after)
    assert re.search(r", after (\d+) s -> .*, after (\d+) s$", one)
    assert other.endswith(": taken out")
    assert [] == list(limit_changes(before, before))


def test_the_plan_can_go_on(tmp_path: Path) -> None:
    """The set flow of the report is configuration as it stands, with the value that was due."""
    state = kept(tmp_path, "2026-10-18T01:00", hostile)
    with Reader(state / RECORD) as reader:
        material = material_of(reader)
        plan = "\n".join(report_of(material, veil_for(material, named=True)).plan)
    (flow,) = tomllib.loads(plan)["flow"]
    assert {"line": "S1", "set_l_min": [[12, 6]]} == flow


def test_bars_of_nothing_stand_on_zero() -> None:
    """A run that never stopped has an axis from 0 up."""
    panel = Panel("stops", "min", (Point(0.0, 0.0, 0.0, 0.0),), 1.0, kind="bars")
    figure = Figure("f", "t", Span(0.0, 1.0), (panel,), (), "s")
    words = re.findall(r">(-?[0-9.]+)</text>", svg(figure))
    assert (0.0, 1.0) == (min(map(float, words)), max(map(float, words)))


# Drawings


def figure_of(*points: Point) -> Figure:
    """A figure of one panel over a hundred seconds."""
    panel = Panel("<T> & more", "C", points, 1.0, (Edge(Span(0.0, 100.0), 2.0),))
    return Figure("f", '"<x>"', Span(0.0, 100.0), (panel,), ((0.0, "<0>"),), "s", ((5.0, "<e>"),))


def test_a_drawing_is_well_formed_and_escaped() -> None:
    """Any XML reader takes it, whatever the words."""
    root = ElementTree.fromstring(svg(figure_of(Point(0.0, 1.0, 2.0, 3.0))))
    words = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {"<T> & more, C", "<0>", "<e>", '"<x>"'} <= set(words)


def test_no_line_crosses_a_gap() -> None:
    """Points further apart than a cell and a half are two lines."""
    points = [Point(float(t), 1.0, 1.0 + t / 100, 2.0) for t in (0, 1, 2, 10, 11, 12)]
    assert 2 == svg(figure_of(*points)).count("<polyline")
    assert 1 == svg(figure_of(*points[:3])).count("<polyline")


def test_thinning_keeps_every_peak() -> None:
    """Of a thousand readings in ten columns least and highest stay, and means are right."""
    values = [(float(t), float(t == 517)) for t in range(1000)]
    points = thinned(values, Span(0.0, 1000.0), 10)
    assert [(500.0, 0.0, 0.01, 1.0)] == [
        (p.at, p.low, p.mean, p.high) for p in points if p.high > p.low
    ]
    assert 10 == len(points)


# Nights of the scenario, played through simulator, loop and archive


def night(state: Path) -> Material:
    """The material of a record that stays open for the test."""
    return material_of(Reader(state / RECORD))


@pytest.mark.long
def test_the_outage_has_its_page(tmp_path: Path) -> None:
    """652 litres not delivered, who was called when, proven after 134 min, evidence drawn."""
    keep(night_outage(), tmp_path, first_event=41)
    material = night(tmp_path)
    (event,) = material.events
    litres = not_delivered(material, event)
    assert litres is not None
    assert pytest.approx(652.0, abs=7.0) == litres
    report = report_of(material, veil_for(material, named=True))
    acted = {row[0]: row[4] for row in report.alarms.rows}
    assert ("1", "1") == (acted["siphon broken/S1"], acted["supply lost/HD1"])
    (page,) = report.events
    facts = {fact.name: fact.words for fact in page.facts}
    assert "Tavrin 01:19, Oskel 01:57" == facts["Called"]
    assert "Sun 18 Oct 03:32:00, 134 min after the first sign" == facts["Flow proven"]
    assert (41, "urgent", "mains lost (B1)", 8) == (page.number, page.grade, page.cause, page.texts)
    kinds = [step.kind for step in page.steps]
    assert (8, "sign") == (kinds.count("text"), kinds[0])
    assert page.figure is not None
    assert ["MP", "QS", "LH", "QL", "TW1"] == [p.title.split(":")[0] for p in page.figure.panels][
        :5
    ]
    material.reader.close()


@pytest.mark.long
def test_a_hold_that_overran(tmp_path: Path) -> None:
    """63 litres: the planned 40 min of the hold are not counted."""
    keep(hold_overrun(), tmp_path, first_event=17)
    material = night(tmp_path)
    (event,) = material.events
    litres = not_delivered(material, event)
    assert litres is not None
    assert pytest.approx(63.0, abs=4.0) == litres
    material.reader.close()

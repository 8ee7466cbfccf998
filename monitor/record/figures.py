"""Figures of a run as SVG: panels one under the other over one axis of time. Pure.

Drawn for black and white: the mean as a line, least and highest as a grey envelope, so that no peak
is lost; limits dashed, time not observed hatched, events as numbered lines. No line crosses a gap.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise

from monitor.record.spans import Span, Spans

WIDTH, LEFT, RIGHT = 720, 58, 12
TOP, BETWEEN, FOOT = 44, 16, 34
FONT = "DejaVu Sans, Arial, Helvetica, sans-serif"
Height = Callable[[float], float]
"""From a value to its height on the paper."""
INK, GREY, PALE = "#000000", "#bdbdbd", "#ececec"


@dataclass(frozen=True, slots=True)
class Point:
    """Some readings together from `at` (UTC s) on: least, mean, highest, in the unit shown."""

    at: float
    low: float
    mean: float
    high: float


@dataclass(frozen=True, slots=True)
class Edge:
    """A limit, or what was planned, over a time: drawn dashed."""

    span: Span
    value: float


@dataclass(frozen=True, slots=True)
class Panel:
    """One quantity. cell: seconds that a point stands for; a later next point leaves a gap.

    kind: "line", "bars" (a bar a cell), or "state" (0 and 1, with the words for both).
    """

    title: str
    unit: str
    points: tuple[Point, ...]
    cell: float
    edges: tuple[Edge, ...] = ()
    gaps: Spans = ()
    shaded: Spans = ()
    kind: str = "line"
    words: tuple[str, str] = ("0", "1")
    height: int = 110


@dataclass(frozen=True, slots=True)
class Figure:
    """Panels over one span. ticks: (UTC s, label). marks: the same for events. axis: its name."""

    name: str
    title: str
    span: Span
    panels: tuple[Panel, ...]
    ticks: tuple[tuple[float, str], ...]
    axis: str
    marks: tuple[tuple[float, str], ...] = ()


def svg(figure: Figure) -> str:
    """The figure as one SVG document, fit to stand in HTML too."""
    return "".join(_drawing(figure))


def _drawing(figure: Figure) -> Iterator[str]:
    heights = [36 if panel.kind == "state" else panel.height for panel in figure.panels]
    bottom = TOP + sum(heights) + (BETWEEN + 14) * len(heights)
    pattern = f"gap-{figure.name}"
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {bottom + FOOT}" '
        f'width="{WIDTH}" height="{bottom + FOOT}" font-family="{FONT}" font-size="11" '
        f'role="img" aria-label="{escape(figure.title)}">'
        f"<title>{escape(figure.title)}</title>"
        f'<defs><pattern id="{escape(pattern)}" width="5" height="5" '
        'patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<rect width="5" height="5" fill="#ffffff"/><line x1="0" y1="0" x2="0" y2="5" '
        'stroke="#777777" stroke-width="1.2"/></pattern></defs>'
        f'<rect width="{WIDTH}" height="{bottom + FOOT}" fill="#ffffff"/>'
    )
    yield _text(LEFT, 14, figure.title, weight="bold", size=12)
    yield from _marks(figure, bottom - BETWEEN)
    y = float(TOP)
    for panel, height in zip(figure.panels, heights, strict=True):
        y += 14
        yield from _panel(figure, panel, y, height, pattern)
        y += height + BETWEEN
    yield from _axis(figure, y - BETWEEN)
    yield "</svg>"


def _x(figure: Figure, at: float) -> float:
    start, end = figure.span
    share = (min(max(at, start), end) - start) / (end - start)
    return LEFT + share * (WIDTH - LEFT - RIGHT)


def _panel(figure: Figure, panel: Panel, top: float, height: float, pattern: str) -> Iterator[str]:
    low, high, steps = _scale(panel)

    def y(value: float) -> float:
        return top + height * (high - min(max(value, low), high)) / (high - low)

    heading = panel.title if panel.kind == "state" else f"{panel.title}, {panel.unit}".rstrip(", ")
    yield _text(LEFT, top - 4, heading, halo=True)
    for span in panel.shaded:
        yield _rect(_x(figure, span.start), top, _x(figure, span.end), top + height, PALE)
    for span in panel.gaps:
        fill = f"url(#{escape(pattern)})"
        yield _rect(_x(figure, span.start), top, _x(figure, span.end), top + height, fill)
    for value in steps:
        yield _line(LEFT, y(value), WIDTH - RIGHT, y(value), "#d0d0d0", 0.5)
        label = panel.words[round(value)] if panel.kind == "state" else _number(value, steps)
        yield _text(LEFT - 5, y(value) + 4, label, anchor="end")
    draw = {"bars": _bars, "state": _states}.get(panel.kind, _curve)
    yield from draw(figure, panel, y)
    for edge in panel.edges:
        if low <= edge.value <= high:
            ends = _x(figure, edge.span.start), _x(figure, edge.span.end)
            yield _line(ends[0], y(edge.value), ends[1], y(edge.value), INK, 1, "6 3")
    yield (
        f'<rect x="{LEFT}" y="{top:.1f}" width="{WIDTH - LEFT - RIGHT}" height="{height:.1f}" '
        f'fill="none" stroke="{INK}" stroke-width="0.8"/>'
    )


def _scale(panel: Panel) -> tuple[float, float, list[float]]:
    """The ends of the vertical axis and its steps: 1, 2 or 5 of a power of ten apart."""
    if panel.kind == "state":
        return -0.2, 1.2, [0.0, 1.0]
    values = [value for p in panel.points for value in (p.low, p.high) if math.isfinite(value)]
    values += [edge.value for edge in panel.edges]
    if panel.kind == "bars":
        values.append(0.0)
    low, high = min(values, default=0.0), max(values, default=1.0)
    if high - low < 1e-9 and panel.kind == "bars":
        high = low + 1.0
    if high - low < 1e-9:
        low, high = low - 0.5, high + 0.5
    raw = (high - low) / 4
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(k * power for k in (1.0, 2.0, 5.0, 10.0) if k * power >= raw * 0.999)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return first * step, last * step, [k * step for k in range(first, last + 1)]


def _curve(figure: Figure, panel: Panel, y: Height) -> Iterator[str]:
    for part in _unbroken(panel.points, panel.cell):
        half = panel.cell / 2 if len(part) > 1 else 0.0
        xs = [_x(figure, p.at + half) for p in part]
        upper = " ".join(f"{x:.1f},{y(p.high):.1f}" for x, p in zip(xs, part, strict=True))
        lower = " ".join(
            f"{x:.1f},{y(p.low):.1f}" for x, p in zip(reversed(xs), reversed(part), strict=True)
        )
        mean = " ".join(f"{x:.1f},{y(p.mean):.1f}" for x, p in zip(xs, part, strict=True))
        if any(p.high > p.low for p in part):
            yield f'<polygon points="{upper} {lower}" fill="{GREY}" stroke="{GREY}" '
            yield 'stroke-width="0.6"/>'
        if len(part) == 1:
            yield f'<circle cx="{xs[0]:.1f}" cy="{y(part[0].mean):.1f}" r="1.2" fill="{INK}"/>'
        else:
            yield f'<polyline points="{mean}" fill="none" stroke="{INK}" stroke-width="1.1"/>'


def _unbroken(points: Sequence[Point], cell: float) -> Iterator[Sequence[Point]]:
    """The points in parts without a gap."""
    begin = 0
    for number, (one, other) in enumerate(pairwise(points), 1):
        if other.at - one.at > 1.6 * cell:
            yield points[begin:number]
            begin = number
    if points:
        yield points[begin:]


def _bars(figure: Figure, panel: Panel, y: Height) -> Iterator[str]:
    for p in panel.points:
        left, right = _x(figure, p.at), _x(figure, p.at + panel.cell)
        inset = (right - left) * 0.12
        yield _rect(left + inset, y(p.mean), right - inset, y(0.0), "#8a8a8a")


def _states(figure: Figure, panel: Panel, y: Height) -> Iterator[str]:
    """Steps; a cell with both states is drawn as a full stroke."""
    for part in _unbroken(panel.points, panel.cell):
        path = []
        for p in part:
            left, right = _x(figure, p.at), _x(figure, p.at + panel.cell)
            path += [f"{left:.1f},{y(v):.1f}" for v in (p.low, p.high)]
            path.append(f"{right:.1f},{y(p.high if p.low == p.high else p.mean):.1f}")
        yield f'<polyline points="{" ".join(path)}" fill="none" stroke="{INK}" '
        yield 'stroke-width="1.3"/>'


def _axis(figure: Figure, y: float) -> Iterator[str]:
    for at, label in figure.ticks:
        x = _x(figure, at)
        yield _line(x, y, x, y + 4, INK, 0.8)
        yield _text(x, y + 15, label, anchor="middle")
    yield _text(WIDTH - RIGHT, y + 28, figure.axis, anchor="end")


def _marks(figure: Figure, bottom: float) -> Iterator[str]:
    """Events as dotted lines, their labels in two rows; what fits in neither goes without."""
    ends = [-100.0, -100.0]
    for at, label in sorted(figure.marks):
        x, half = _x(figure, at), 3.2 * len(label)
        yield _line(x, TOP - 2, x, bottom, INK, 0.9, "1.5 2.5")
        row = next((row for row in (0, 1) if x - half > ends[row] + 4), None)
        if row is not None:
            yield _text(x, TOP - 4 - 11 * row, label, anchor="middle", size=10, halo=True)
            ends[row] = x + half


def _number(value: float, steps: Sequence[float]) -> str:
    step = steps[1] - steps[0] if len(steps) > 1 else 1.0
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    return f"{value:.{decimals}f}"


def _text(
    x: float,
    y: float,
    words: str,
    anchor: str = "start",
    weight: str = "normal",
    size: int = 11,
    halo: bool = False,
) -> str:
    white = ' paint-order="stroke" stroke="#ffffff" stroke-width="3"' if halo else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-weight="{weight}" '
        f'font-size="{size}" fill="{INK}"{white}>{escape(words)}</text>'
    )


def _line(
    x1: float, y1: float, x2: float, y2: float, stroke: str, width: float, dash: str = ""
) -> str:
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{stroke}" '
        f'stroke-width="{width}"{dashes}/>'
    )


def _rect(x1: float, y1: float, x2: float, y2: float, fill: str) -> str:
    return (
        f'<rect x="{x1:.1f}" y="{min(y1, y2):.1f}" width="{max(0.5, x2 - x1):.1f}" '
        f'height="{abs(y2 - y1):.1f}" fill="{fill}"/>'
    )


def thinned(points: Iterable[tuple[float, float]], span: Span, columns: int) -> list[Point]:
    """Readings (UTC s, value) as at most `columns` points that keep every least and highest."""
    width = (span.end - span.start) / columns
    found: list[Point] = []
    number, count, total, low, high = -1, 0, 0.0, math.inf, -math.inf
    for at, value in points:
        column = int((at - span.start) / width)
        if column != number and count:
            found.append(Point(span.start + number * width, low, total / count, high))
            count, total, low, high = 0, 0.0, math.inf, -math.inf
        number = column
        count, total = count + 1, total + value
        low, high = min(low, value), max(high, value)
    if count:
        found.append(Point(span.start + number * width, low, total / count, high))
    return found

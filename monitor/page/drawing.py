"""One water as a plain line section: header, siphon, larval tank, sump and pump, to scale.

Heights and widths of vessels are true to each other where the rig says them; the width is that of
a square of the same area. How high a sump or a header stands is known only by the siphon's head,
so without one the vessels stand one above the other. Levels are drawn only where they are
measured.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from typing import Any

WIDTH, HEIGHT = 340.0, 270.0
"""Size of the drawing, in its own units; it scales with the page."""

TOP, FOOT, SIDE = 26.0, 24.0, 12.0
UNKNOWN_AREA, UNKNOWN_RIM, UNKNOWN_HEAD = 0.5, 0.6, 0.9
"""Square metres and metres drawn where the rig does not say them."""


@dataclass(frozen=True, slots=True)
class Box:
    """A vessel on the drawing: left, right, floor and rim, drawing units; unit: of one metre."""

    left: float
    right: float
    floor: float
    rim: float
    unit: float

    def at(self, level: float) -> float:
        """Height on the drawing of a level above the vessel's floor, m; never over the rim."""
        return max(self.rim, self.floor - level * self.unit)


def section(water: Mapping[str, Any], vessels: Mapping[str, Mapping[str, Any]]) -> str:
    """The drawing of one water of a scene, as an SVG element."""
    tank, header, sump = (vessels.get(water[key] or "") for key in ("tank", "header", "sump"))
    boxes = _places(tank, header, sump, water["head"] or UNKNOWN_HEAD)
    parts = [
        _vessel(vessel, boxes[key], water["float"] if key == "header" else "")
        for key, vessel in (("tank", tank), ("header", header), ("sump", sump))
        if vessel is not None
    ]
    bad = water["flows"] in ("none", "presumed none") and not water["held"]
    if tank is not None:
        parts.append(_feed(water, boxes, header is not None, bad))
        if sump is not None:
            parts.append(_overflow(boxes["tank"], boxes["sump"]))
    if header is not None and sump is not None:
        parts.append(_riser(water, boxes))
    if header is not None and water["break_level"] is not None:
        parts.append(_mark(boxes["header"], water["break_level"]))
    title = escape(str(water["sentence"]))
    return (
        f'<svg class="section" viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}" role="img">'
        f"<title>{title}</title>{''.join(parts)}</svg>"
    )


def _size(vessel: Mapping[str, Any]) -> tuple[float, float]:
    """Width and height in metres."""
    area = vessel["area"] or UNKNOWN_AREA
    return area**0.5, vessel["rim"] or (vessel["lip"] or 0.0) + 0.08 or UNKNOWN_RIM


def _places(
    tank: Mapping[str, Any] | None,
    header: Mapping[str, Any] | None,
    sump: Mapping[str, Any] | None,
    head: float,
) -> dict[str, Box]:
    """Tank on the left; header high on the right by the head of the siphon, the sump below it."""
    sizes = {
        key: _size(vessel)
        for key, vessel in (("tank", tank), ("header", header), ("sump", sump))
        if vessel is not None
    }
    ground = max((sizes[key][1] for key in ("tank", "sump") if key in sizes), default=0.0)
    lift = 0.0
    if header is not None:
        surface = (tank or {}).get("lip") or ground
        lift = max(surface + head - (header["lip"] or sizes["header"][1]), ground + 0.12)
    height = max([ground, *([lift + sizes["header"][1]] if header is not None else [])])
    right = max((sizes[key][0] for key in ("header", "sump") if key in sizes), default=0.0)
    wide = sizes.get("tank", (0.0, 0.0))[0] + right
    unit = min((HEIGHT - TOP - FOOT) / max(height, 0.1), 0.56 * (WIDTH - 2 * SIDE) / max(wide, 0.1))
    ground_y = HEIGHT - FOOT
    boxes = {}
    for key, (width, tall) in sizes.items():
        up = lift if key == "header" else 0.0
        left = SIDE if key == "tank" else WIDTH - SIDE - 30.0 - width * unit
        boxes[key] = Box(
            left, left + width * unit, ground_y - up * unit, ground_y - (up + tall) * unit, unit
        )
    return boxes


def _vessel(vessel: Mapping[str, Any], box: Box, float_: str) -> str:
    """A vessel with what is measured in it; float_: what its float shows, "" for none."""
    shown = vessel["level_shown"]
    level = vessel["level"]
    water = ""
    if level is not None:
        y = box.at(level)
        water = (
            f'<rect class="water" x="{box.left:.1f}" y="{y:.1f}" '
            f'width="{box.right - box.left:.1f}" height="{box.floor - y:.1f}"/>'
            f'<path class="surface" d="M{box.left:.1f} {y:.1f}H{box.right:.1f}"/>'
        )
    walls = f"M{box.left:.1f} {box.rim:.1f}V{box.floor:.1f}H{box.right:.1f}V{box.rim:.1f}"
    middle = (box.left + box.right) / 2
    words = [vessel["temperature"], shown, f"float {float_}" if float_ else ""]
    below = "".join(
        _text(middle, box.floor - 6 - 14 * n, word, "value")
        for n, word in enumerate(word for word in words if word)
    )
    name = _text(middle, box.floor + 15, vessel["id"], "name")
    return f'{water}<path class="wall" d="{walls}"/>{name}{below}'


def _feed(water: Mapping[str, Any], boxes: Mapping[str, Box], from_header: bool, bad: bool) -> str:
    """The siphon or line into the tank, with what flows through it."""
    tank = boxes["tank"]
    down = tank.right - 10.0
    if from_header:
        header = boxes["header"]
        inside, over = header.left + 8.0, header.rim - 10.0
        path = f"M{inside:.1f} {header.floor - 5:.1f}V{over:.1f}H{down:.1f}V{tank.rim + 14:.1f}"
        x, y = down - 4.0, (over + tank.rim) / 2
    else:
        path = f"M{down:.1f} {TOP:.1f}V{tank.rim + 14:.1f}"
        x, y = down + 6.0, TOP + 14.0
    word = {"none": "NO FLOW", "presumed none": "NO FLOW, presumed"}.get(
        water["flows"], water["flow"] or {"yes": "flows"}.get(water["flows"], "not measured")
    )
    kind = "pipe bad" if bad else "pipe unseen" if water["flows"] == "not seen" else "pipe"
    style = ("flow bad" if bad else "flow") + (" end" if from_header else "")
    cross = (
        f'<path class="cross" d="M{down - 7:.1f} {y + 8:.1f}l14 14m0 -14l-14 14"/>' if bad else ""
    )
    return f'<path class="{kind}" d="{path}"/>{cross}{_text(x, y, word, style)}'


def _overflow(tank: Box, sump: Box) -> str:
    out, into = tank.rim + 10.0, sump.left + 10.0
    path = f"M{tank.right:.1f} {out:.1f}H{into:.1f}V{max(out, sump.rim) + 12:.1f}"
    return f'<path class="pipe" d="{path}"/>'


def _riser(water: Mapping[str, Any], boxes: Mapping[str, Box]) -> str:
    """The pump line from the sump up into the header, with the supply and the mains."""
    header, sump = boxes["header"], boxes["sump"]
    x = max(header.right, sump.right) + 14.0
    path = (
        f"M{sump.right - 8:.1f} {sump.floor - 6:.1f}V{sump.rim - 6:.1f}H{x:.1f}"
        f"V{header.rim - 8:.1f}H{header.right - 8:.1f}V{header.rim + 8:.1f}"
    )
    off = water["mains"] == "OFF"
    y = (header.floor + sump.rim) / 2
    words = [
        (water["supply"], "flow"),
        (f"mains {water['mains']}" if water["mains"] else "", "flow bad" if off else "flow"),
    ]
    texts = "".join(
        _text(x - 5, y + 14 * n, word, f"{style} end")
        for n, (word, style) in enumerate((w, s) for w, s in words if w)
    )
    return f'<path class="{"pipe bad" if off else "pipe"}" d="{path}"/>{texts}'


def _mark(header: Box, level: float) -> str:
    y = header.at(level)
    return (
        f'<path class="mark" d="M{header.left:.1f} {y:.1f}H{header.right:.1f}"/>'
        f"{_text(header.left - 3, y + 3, 'break', 'note end')}"
    )


def _text(x: float, y: float, word: str, style: str) -> str:
    return f'<text class="{style}" x="{x:.1f}" y="{y:.1f}">{escape(word)}</text>'

"""The report as HTML, with everything in one file; every word from outside is escaped."""

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from resvg_py import svg_to_bytes

from monitor.errors import HoldwaterError
from monitor.record.figures import Figure, svg
from monitor.record.report.content import Report

ZOOM = 2.0
"""Pixels of a PNG figure to one of its drawing: enough for a slide."""
TEMPLATES = Path(__file__).parent / "templates"


def environment(templates: Path) -> Environment:
    """Templates that escape every value and refuse a name that is not there."""
    found = Environment(
        loader=FileSystemLoader(templates),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.filters["drawn"] = drawn
    return found


def drawn(figure: Figure) -> Markup:
    """A figure within a page; svg() has escaped its words."""
    return Markup(svg(figure))


def html_of(report: Report) -> str:
    """The whole report."""
    return environment(TEMPLATES).get_template("report.html").render(report=report)


def write_figures(report: Report, folder: Path) -> list[Path]:
    """Every figure as SVG and PNG into a folder; a file that is there already is refused."""
    figures = [*report.figures, *(page.figure for page in report.events if page.figure)]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        written = []
        for figure in figures:
            drawing = svg(figure)
            for ending, data in (
                ("svg", drawing.encode()),
                ("png", bytes(svg_to_bytes(svg_string=drawing, zoom=ZOOM))),
            ):
                path = folder / f"{figure.name}.{ending}"
                with path.open("xb") as file:
                    file.write(data)
                written.append(path)
    except OSError as error:
        raise HoldwaterError(f"{error.filename}: cannot be written ({error.strerror})") from error
    return written

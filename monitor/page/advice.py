"""The response pages, as HTML: what a condition means, and what to do first."""

from pathlib import Path

from markdown_it import MarkdownIt
from markupsafe import Markup


class Advice:
    """The pages of one folder of Markdown, read once. HTML within them is shown as text."""

    def __init__(self, folder: Path) -> None:
        reader = MarkdownIt("commonmark", {"html": False}).enable("table")
        texts = {path.stem: path.read_text("utf-8") for path in sorted(folder.glob("*.md"))}
        texts.pop("README", None)
        self.titles = {name: _title(name, text) for name, text in texts.items()}
        self._pages = {name: Markup(_linked(reader.render(text))) for name, text in texts.items()}

    def page(self, name: str) -> Markup | None:
        """One page; None where there is none of that name."""
        return self._pages.get(name)


def _title(name: str, text: str) -> str:
    first = text.partition("\n")[0]
    return first.removeprefix("# ").strip() or name


def _linked(html: str) -> str:
    """Links to other response pages lead to them here; links elsewhere in the docs lose nothing."""
    return html.replace('.md"', '"').replace(".md#", "#")

"""The response pages, as HTML: what a condition means, and what to do first."""

import re
from pathlib import Path

from markdown_it import MarkdownIt
from markupsafe import Markup

_ACTIONS = re.compile(r"<h2>First actions</h2>\s*<ol>(.*?)</ol>", re.DOTALL)
_LINK = re.compile(r'href="([a-z-]+)\.md')
_ITEM = re.compile(r"<li>(.*?)</li>", re.DOTALL)


class Advice:
    """The pages of one folder of Markdown, read once. HTML within them is shown as text."""

    def __init__(self, folder: Path) -> None:
        reader = MarkdownIt("commonmark", {"html": False}).enable("table")
        texts = {path.stem: path.read_text("utf-8") for path in sorted(folder.glob("*.md"))}
        texts.pop("README", None)
        self.titles = {name: _title(name, text) for name, text in texts.items()}
        self._pages = {name: Markup(_linked(reader.render(text))) for name, text in texts.items()}

    def first(self, name: str) -> list[Markup]:
        """The first three actions of a page; none where it has none or is not there."""
        actions = _ACTIONS.search(self._pages.get(name, Markup("")))
        found = _ITEM.findall(actions[1]) if actions is not None else []
        return [Markup(item) for item in found[:3]]

    def page(self, name: str) -> Markup | None:
        """One page; None where there is none of that name."""
        return self._pages.get(name)


def _title(name: str, text: str) -> str:
    first = text.partition("\n")[0]
    return first.removeprefix("# ").strip() or name


def _linked(html: str) -> str:
    """Links to other response pages lead to them here; links elsewhere in the docs lose nothing."""
    return _LINK.sub(r'href="/advice/\1', html)

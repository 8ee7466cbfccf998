"""What somebody wrote himself in a reply: quoted lines, attributions and signatures go. Pure."""

import re
import unicodedata

_QUOTE = re.compile(r"\s*>")
_HEADER = re.compile(r"\s*\*?(?:From|Von|De|Da|Van)\s?:\*?\s.*@", re.I)
_INTRODUCTION = re.compile(r"\s*(?:On|Am|Le|El|Il|Op|Den|Em|W dniu)\b")


def unquoted(text: str) -> list[str]:
    """The lines a person wrote, without quotes, what introduces them, and what follows `-- `.

    Controls and invisible letters become blanks, so that they neither hide nor part a word.
    """
    kept: list[str] = []
    for line in text.replace("\r\n", "\n").replace("\r", "\n").split("\n"):
        if _QUOTE.match(line):
            _drop_introduction(kept)
            continue
        if line.rstrip() == "--" or _is_rule(line) or _HEADER.match(line):
            break
        kept.append("".join(" " if _is_hidden(sign) else sign for sign in line))
    return kept


def _is_rule(line: str) -> bool:
    """Whether a line parts the mail from the one it answers: `-----Original-----` or `_____`."""
    bare = line.strip()
    return (bare.startswith("---") and bare.endswith("---")) or (
        len(bare) >= 10 and set(bare) == {"_"}
    )


def _drop_introduction(kept: list[str]) -> None:
    """Drop who wrote the quote that follows: a line that ends with a colon, or up to three."""
    last = next((at for at in range(len(kept) - 1, -1, -1) if kept[at].strip()), None)
    if last is None or not kept[last].rstrip().endswith(":"):
        return
    first = next(
        (at for at in range(last, max(-1, last - 3), -1) if _INTRODUCTION.match(kept[at])), last
    )
    del kept[first:]


def _is_hidden(sign: str) -> bool:
    return sign != "\t" and unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Co", "Cn")

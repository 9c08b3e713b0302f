"""Pieces of HTML that every report and lab sheet is put together from. Loads no drawing library."""

import html
from collections.abc import Iterable, Mapping, Sequence

from sim.trips.result import CAUTIONS


class Markup(str):
    """A text that is HTML already and is taken as it is."""

    __slots__ = ()


def escaped(text: object) -> str:
    """A text as it may stand in HTML, whatever it holds.

    Examples
    --------
    >>> escaped('<b>"6 %"</b>')
    '&lt;b&gt;&quot;6 %&quot;&lt;/b&gt;'
    """
    return text if isinstance(text, Markup) else html.escape(str(text), quote=True)


def document(title: str, style: str, body: str, scripts: str = "", allowed: str = "") -> str:
    """A whole file that fetches nothing.

    Parameters
    ----------
    scripts : str
        HTML at its end.
    allowed : str
        What the content policy allows beside styles.
    """
    policy = f"default-src 'none'; {allowed}style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escaped(title)}</title>\n<style>{style}</style>\n</head>\n<body>\n{body}\n{scripts}</body>\n</html>\n"
    )


def table(
    head: Sequence[str],
    rows: Iterable[Sequence[object]],
    caption: str = "",
    numbers: Sequence[int] = (),
    kinds: Mapping[int, str] | None = None,
    marked: Sequence[str] = (),
) -> Markup:
    """A table; all texts are escaped, and None is a line to write on.

    Parameters
    ----------
    numbers : sequence of int
        Columns that hold numbers.
    kinds : mapping or None
        Classes of other columns than those of words.
    marked : sequence of str
        Class of each row, where rows have one.
    """
    named = {**(kinds or {}), **dict.fromkeys(numbers, "number")}
    top = "".join(
        f'<th scope="col"{_class("number" if place in numbers else "")}>{escaped(text)}</th>'
        for place, text in enumerate(head)
    )
    body = "".join(
        f"<tr{_class(marked[number] if marked else '')}>"
        + "".join(_cell(named.get(place, "word"), text) for place, text in enumerate(row))
        + "</tr>\n"
        for number, row in enumerate(rows)
    )
    titled = f"<caption>{escaped(caption)}</caption>" if caption else ""
    return Markup(f"<table>{titled}<thead><tr>{top}</tr></thead>\n<tbody>{body}</tbody></table>")


def _class(name: str) -> str:
    """The attribute of a class, or nothing."""
    return f' class="{name}"' if name else ""


def _cell(kind: str, text: object) -> str:
    """One cell."""
    return f'<td class="{kind}">{escaped(text)}</td>' if text is not None else '<td class="blank"></td>'


def wide(content: str, kind: str = "") -> str:
    """What scrolls by itself where it is too wide."""
    return f'<div class="{f"wide {kind}".strip()}" tabindex="0">{content}</div>'


def unfolded(summary: str, content: str) -> str:
    """A part that can be folded away."""
    return f"<details open><summary>{escaped(summary)}</summary>{content}</details>"


def heading(text: str, warned: bool) -> str:
    """What stands on top, marked when something is wrong."""
    return f"<h1{_class('warned' if warned else '')}>{escaped(text)}</h1>"


def described(pairs: Iterable[tuple[str, object]], kind: str = "") -> str:
    """Names with what they are."""
    return f"<dl{_class(kind)}>{''.join(f'<dt>{escaped(k)}</dt><dd>{escaped(v)}</dd>' for k, v in pairs)}</dl>"


def paragraphs(texts: Iterable[str], kind: str = "small") -> str:
    """Texts below one another."""
    return f'<div class="{kind}">{"".join(f"<p>{escaped(text)}</p>" for text in texts)}</div>'


def cautions(texts: Iterable[str] = CAUTIONS) -> str:
    """The cautions, on every report."""
    return paragraphs(texts, "cautions")


def said_list(items: Iterable[tuple[str, str, str]]) -> str:
    """Warnings and explanations: class, word and text of each."""
    found = [f'<li class="{kind}"><b>{escaped(word)}</b> {escaped(text)}</li>' for kind, word, text in items]
    return f'<ul class="said">{"".join(found)}</ul>' if found else ""

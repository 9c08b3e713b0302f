"""How hard the texts are to read: the grade of Flesch and Kincaid for README and for the texts of each page.

`pytest -s -n 0 tests/docs/test_readability.py` prints the grades and the hardest sentences. The bounds only keep them from
rising: whoever makes a text easier may lower its bound.
"""

import ast
import re
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
FEWEST_WORDS = 5  # fewer are a label, no sentence

# page -> highest grade, loosely above what it has
BOUNDS = {
    "trip": 4.0, "gearing": 5.0, "fuel_study": 4.0, "roads": 4.0, "dyno": 5.0, "knobs": 6.0, "speedometer": 7.0,
    "hidden_fault": 6.0, "sources": 10.0,
}  # fmt: skip
README_BOUND = 10.0


def syllables(word: str) -> int:
    """Vowels in a row count once, a silent e at the end does not: right for most English words (assumed)."""
    found = len(re.findall(r"[aeiouy]+", word.lower()))
    silent = re.search(r"[^aeiouyl]e$|[^aeiouydt]ed$", word.lower()) and found > 1
    return max(found - bool(silent), 1)


def grade(sentences: list[str]) -> float:
    """Years of school: 0.39 words a sentence + 11.8 syllables a word - 15.59.

    J. P. Kincaid, R. P. Fishburne, R. L. Rogers, B. S. Chissom, Derivation of new readability formulas for Navy enlisted
    personnel, Naval Technical Training Command, Research Branch Report 8-75, 1975.
    """
    words = [word for sentence in sentences for word in words_of(sentence)]
    return 0.39 * len(words) / len(sentences) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


def words_of(text: str) -> list[str]:
    return re.findall(r"[A-Za-z][A-Za-z'-]*", text)


def sentences_of(text: str) -> list[str]:
    parts = (part.strip() for part in re.split(r"(?<=[.!?])\s+", re.sub(r"\s+", " ", text)))
    return [part for part in parts if len(part.split()) >= FEWEST_WORDS and words_of(part)]


def texts_in(source: str) -> Iterator[str]:
    """Every text a file writes, docstrings left out; what is filled in counts as a number."""
    tree = ast.parse(source)
    inner = {
        id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr | ast.Expr) for part in ast.walk(node)
    } - {id(node) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(part.value) if isinstance(part, ast.Constant) else "0" for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in inner:
            yield node.value


def texts_of(component: Any) -> Iterator[str]:
    """The texts of a component; what stands in one line is one text."""
    children = getattr(component, "children", component)
    children = children if isinstance(children, list | tuple) else [children]
    inner = [child if isinstance(child, str) else getattr(child, "children", None) for child in children]
    lines = [text for text in inner if isinstance(text, str)]
    yield from [" ".join(lines)] if any(isinstance(child, str) for child in children) else lines
    for child, text in zip(children, inner, strict=True):
        if text is not None and not isinstance(text, str):
            yield from texts_of(child)


def shown(name: str, sentences: list[str]) -> float:
    """The grade of a text, printed with its hardest sentences."""
    found = grade(sentences)
    print(f"\n{name}: grade {found:.1f}, {len(sentences)} sentences")
    for sentence in sorted(sentences, key=lambda each: -grade([each]))[:5]:
        print(f"  {grade([sentence]):4.1f}  {sentence}")
    return found


def test_the_formula_gives_what_can_be_counted_by_hand():
    """Six words, seven syllables."""
    assert [syllables(word) for word in ("The", "engine", "brake", "holds", "the", "truck")] == [1, 2, 1, 1, 1, 1]
    assert grade(["The engine brake holds the truck."]) == pytest.approx(0.39 * 6 + 11.8 * 7 / 6 - 15.59)


@pytest.mark.parametrize("page", BOUNDS)
def test_a_page_is_no_harder_to_read_than_it_was(page):
    source = (ROOT / "dashboard" / page / "page.py").read_text(encoding="utf-8")
    layout = import_module(f"dashboard.{page}.page").layout({"?": ""})
    texts = [*texts_of(layout), *texts_in(source)]
    sentences = list(dict.fromkeys(sentence for text in texts for sentence in sentences_of(text)))
    assert len(sentences) > 5
    assert shown(page, sentences) < BOUNDS[page]


def test_readme_is_no_harder_to_read_than_it_was():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    text = re.sub(r"^(?:    |\||#|!).*$", "", re.sub(r"(?s)```.*?```", "", text), flags=re.MULTILINE)
    assert shown("README", sentences_of(text)) < README_BOUND

"""The pieces of README that a test can try: what it tells people must work."""

import re
from pathlib import Path

README = Path(__file__).parents[1] / "README.md"
BLOCK = re.compile(r"```(\w*)\n(.*?)```", re.DOTALL)


def blocks(language: str) -> list[str]:
    """Every fenced block of one language, in order."""
    found = BLOCK.findall(README.read_text(encoding="utf-8"))
    return [text for of, text in found if of == language]


def block_with(language: str, words: str) -> str:
    """The one block of a language that holds these words."""
    found = [text for text in blocks(language) if words in text]
    assert len(found) == 1, f"{len(found)} blocks of README hold {words!r}"
    return found[0]

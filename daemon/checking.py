"""``fumarium check``: every fault in files people write, before anything starts.

Of a schedule without a fault it says in what it differs from its base, and what a
careful reviewer would ask; neither changes how the program exits.
"""

import json
import os
import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path

from daemon.board_settings import Board, read_board
from daemon.calibrations import ends_mc, far_from
from daemon.cli import BAD_FILE, GOOD
from daemon.files import text_at, whole_at
from daemon.secrets import explain
from daemon.sender import check_address
from daemon.settings import Settings, read_settings
from rules.faults import Fault, Severity, render_across
from rules.lot_sheet import read_lot_sheet
from rules.reader import marked_tree
from rules.rehearsal import read_rehearsals
from rules.review import review

NEWEST_MS = 1 << 62  # later than every check
BOARD = re.compile(r"^board\s*:", re.MULTILINE)
# What only a settings file begins a line with; its text may hold secrets.
SETTINGS = re.compile(r"^(site|board|broker|channels|contacts)\s*:", re.MULTILINE)

# What else a person writes, by a key that only it has.
OTHERS: Mapping[str, Callable[[str, str], object]] = {
    "lot sheet": read_lot_sheet,
    "rehearsals": read_rehearsals,
}


def check(files: Sequence[Path], *, as_json: bool) -> int:
    """Show the faults of every file; 3 where there is one."""
    said: list[Fault] = []
    for path in files:
        text = text_at(path)
        found, texts = checked(path, text)
        said += found
        if not as_json and SETTINGS.search(text):
            print(explain(found, text) if found else f"{path}: no fault")
        elif not as_json:
            print("\n".join(told(path, found, texts)))
    if not as_json and not any(map(_is_fault, said)):
        for words in advice(files):
            print(f"advice: {words}")
    if as_json:
        print(json.dumps([asdict(one) for one in said], indent=2))
    return BAD_FILE if any(map(_is_fault, said)) else GOOD


def told(path: Path, found: Sequence[Fault], texts: Mapping[str, str]) -> Iterator[str]:
    """What was found in a schedule, fault by fault, and how much of it there is."""
    if found:
        yield render_across(found, texts)
    if not any(map(_is_fault, found)):
        mild = Counter(one.severity for one in found)
        counts = [_counted(mild[kind], kind) for kind in sorted(mild)]
        yield f"{path}: no fault" + "".join(f", {words}" for words in counts)


def checked(path: Path, text: str) -> tuple[Sequence[Fault], Mapping[str, str]]:
    """What is to be said of one file, and the text of every file it is said of."""
    if SETTINGS.search(text):
        return faults_in(path, text), {str(path): text}
    for begins, read_one in OTHERS.items():
        if re.search(rf"^{begins}\s*:", text, re.MULTILINE):
            found = read_one(str(path), text)
            return found if isinstance(found, list) else [], {str(path): text}
    whole = whole_at(path, text)
    if whole.schedule is None or whole.marked is None:
        return whole.faults, whole.texts
    reviewed = review(whole.schedule, whole.marked)
    return sorted([*whole.differences, *reviewed]), whole.texts


def advice(files: Sequence[Path]) -> Iterator[str]:
    """What settings lack to judge the schedules that are checked with them."""
    texts = {path: text_at(path) for path in files}
    judged_mc: set[int] = set()
    for path, text in texts.items():
        schedule = None if SETTINGS.search(text) else whole_at(path, text).schedule
        judged_mc.update(ends_mc(schedule) if schedule else ())
    for path, text in texts.items():
        daemons = SETTINGS.search(text) and not BOARD.search(text)
        settings = read_settings(path, text, os.environ) if daemons else None
        if isinstance(settings, Settings) and len(texts) > 1:
            for house in settings.smokehouses:
                for channel in settings.channels(house):
                    yield from far_from(channel, NEWEST_MS, sorted(judged_mc))


def faults_in(path: Path, text: str) -> list[Fault]:
    """The faults of a settings file, of the daemon's or of a board's."""
    if BOARD.search(text):
        board = read_board(path, text, os.environ)
        return [] if isinstance(board, Board) else board
    settings = read_settings(path, text, os.environ)
    if isinstance(settings, Settings):
        return _addresses(path, text, settings)
    return settings


def _is_fault(one: Fault) -> bool:
    return one.severity is Severity.FAULT


def _counted(count: int, kind: Severity) -> str:
    return f"{count} {kind}{'' if count == 1 else 's'}"


def _addresses(path: Path, text: str, settings: Settings) -> list[Fault]:
    """The contacts whose addresses nothing could be sent to."""
    marked = marked_tree(str(path), text)
    if isinstance(marked, list):
        return marked
    faults = []
    for i, (name, address) in enumerate(settings.contacts.items()):
        if words := check_address(name, address.reveal()):
            found, _, remedy = words.partition("; ")
            right = remedy or "see the address forms of the apprise library"
            faults.append(marked.fault(("contacts", i, "address"), found, right))
    return faults

"""``fumarium check``: every fault in schedules and settings, before anything starts."""

import json
import os
import re
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from daemon.board_settings import Board, read_board
from daemon.cli import BAD_FILE, GOOD
from daemon.files import text_at
from daemon.secrets import explain
from daemon.sender import check_address
from daemon.settings import Settings, read_settings
from rules.faults import Fault, render_all
from rules.reader import marked_tree
from rules.schedule import Schedule, read_schedule

BOARD = re.compile(r"^board\s*:", re.MULTILINE)
# What only a settings file begins a line with; its text may hold secrets.
SETTINGS = re.compile(r"^(site|board|broker|channels|contacts)\s*:", re.MULTILINE)


def check(files: Sequence[Path], *, as_json: bool) -> int:
    """Show the faults of every file; 3 where there is one."""
    faults: list[Fault] = []
    for path in files:
        text = text_at(path)
        found = faults_in(path, text)
        faults += found
        if not as_json:
            shown = explain if SETTINGS.search(text) else render_all
            print(shown(found, text) if found else f"{path}: no fault")
    if as_json:
        print(json.dumps([asdict(fault) for fault in faults], indent=2))
    return BAD_FILE if faults else GOOD


def faults_in(path: Path, text: str) -> list[Fault]:
    """The faults of one file, read as what it seems to be."""
    if not SETTINGS.search(text):
        schedule = read_schedule(str(path), text)
        return [] if isinstance(schedule, Schedule) else schedule
    if BOARD.search(text):
        board = read_board(path, text, os.environ)
        return [] if isinstance(board, Board) else board
    settings = read_settings(path, text, os.environ)
    if isinstance(settings, Settings):
        return _addresses(path, text, settings)
    return settings


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

"""``fumarium check``: every fault in schedules and settings, before anything starts."""

import json
import os
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from daemon.cli import BAD_FILE, GOOD, CommandError
from daemon.secrets import explain
from daemon.settings import Settings, read_settings
from rules.faults import Fault
from rules.reader import marked_tree
from rules.schedule import Schedule, read_schedule


def check(files: Sequence[Path], *, as_json: bool) -> int:
    """Show the faults of every file; 3 where there is one."""
    faults: list[Fault] = []
    for path in files:
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            raise CommandError(f"{path}: not UTF-8 text", BAD_FILE) from None
        except OSError as error:
            words = f"{path}: cannot be read: {error.strerror}"
            raise CommandError(words, BAD_FILE) from error
        found = faults_in(path, text)
        faults += found
        if not as_json:
            print(explain(found, text) if found else f"{path}: no fault")
    if as_json:
        print(json.dumps([asdict(fault) for fault in faults], indent=2))
    return BAD_FILE if faults else GOOD


def faults_in(path: Path, text: str) -> list[Fault]:
    """The faults of one file, read as what it seems to be."""
    marked = marked_tree(str(path), text)
    if isinstance(marked, list):
        return marked
    keys = set(marked.tree) if isinstance(marked.tree, dict) else set()
    if keys & {"site", "broker", "channels"}:
        settings = read_settings(path, text, os.environ)
        return [] if isinstance(settings, Settings) else settings
    schedule = read_schedule(str(path), text)
    return [] if isinstance(schedule, Schedule) else schedule

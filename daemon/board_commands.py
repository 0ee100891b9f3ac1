"""``fumarium probes publish`` and ``fumarium probes found``: the board's own probes."""

import os
import signal
import threading
from functools import partial
from pathlib import Path

from daemon.board import publish
from daemon.board_settings import Board, load_board
from daemon.buffer import BufferFileError
from daemon.cli import GOOD, MACHINE, CommandError
from daemon.clock import Clock
from daemon.files import explained
from daemon.health import Notifier
from daemon.sysfs import sources


def run(path: Path) -> int:
    """Publish what the settings of the board name, until stopped."""
    board = _board_at(path)
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    try:
        say = partial(print, flush=True)
        publish(board, Clock(), say, stop, Notifier(os.environ))
    except BufferFileError as error:
        raise CommandError(str(error), MACHINE) from error
    except OSError as error:
        raise CommandError(f"{error.strerror}: {error.filename}", MACHINE) from error
    return GOOD


def found(sysfs: Path) -> int:
    """List what is plugged in: its identity, its record's name, its bus, its label."""
    there = sources(sysfs)
    for source in there:
        said = (source.probe, source.record, source.bus, source.label)
        print("\t".join(filter(None, said)))
    if not there:
        print(f"no probe is shown under {sysfs}; is its driver loaded?")
    return GOOD


def _board_at(path: Path) -> Board:
    board = load_board(path, os.environ)
    if isinstance(board, Board):
        return board
    raise explained(path, board)

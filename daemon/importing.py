"""``fumarium import``: the export of a logger, shown as understood, then written.

Without ``--write`` nothing is written: what is printed says how every part of the
table was understood, and the first and last rows as the trace would hold them.  What
is written is a plain trace, read back before it is said to be good.
"""

import argparse
from datetime import tzinfo
from pathlib import Path

from daemon.cli import BAD_COMMAND, BAD_FILE, GOOD, MACHINE, CommandError
from daemon.zones import zone_named
from probes import trace
from probes.export import LEAVE_OUT, Asked, Imported, read_export
from probes.wall_clock import Dates, Hour
from rules.faults import render_all

ENOUGH_FAULTS = 20
SHOWN = 3  # rows at the beginning and at the end


def run(asked: argparse.Namespace) -> int:
    """Show what a table is understood to be, and write it where asked."""
    text = _text(asked.file, asked.encoding)
    found = read_export(str(asked.file), text, _asked(asked))
    if not isinstance(found, Imported):
        shown = render_all(found[:ENOUGH_FAULTS], text)
        if len(found) > ENOUGH_FAULTS:
            shown += f"\nand {len(found) - ENOUGH_FAULTS} more like these\n"
        raise CommandError(shown, BAD_FILE)
    _read_back(asked.file, found)
    for choice in found.choices:
        print(choice)
    header, *rows = found.text.splitlines()
    print(f"\n{len(rows)} rows:\n{header}")
    short = rows if len(rows) <= 2 * SHOWN else [*rows[:SHOWN], "...", *rows[-SHOWN:]]
    print("\n".join(short))
    if asked.write is None:
        print("\nnothing is written; if all of this is right, add --write TRACE.csv")
    else:
        _write(asked.write, found.text)
        print(f"\nwritten: {asked.write}")
    return GOOD


def _asked(asked: argparse.Namespace) -> Asked:
    columns = {}
    for one in asked.column:
        header, sign, name = one.rpartition("=")
        if not sign or not name.strip():
            right = "write it as 'HEADER=core-1 [degC]'"
            raise CommandError(
                f"--column: {one!r} names no channel; {right}", BAD_COMMAND
            )
        columns[header] = name.strip()
    columns |= dict.fromkeys(asked.leave_out, LEAVE_OUT)
    return Asked(
        zone=_zone(asked.zone),
        dates=Dates(asked.dates) if asked.dates else None,
        hour=Hour(asked.repeated_hour) if asked.repeated_hour else None,
        columns=columns,
        zones=zone_named,
    )


def _zone(name: str) -> tzinfo | None:
    """A zone by its name, or a fixed one such as +01:00."""
    if not name:
        return None
    if zone := zone_named(name):
        return zone
    words = f"--zone: {name!r} is not a zone; for example: Europe/Vienna, or +01:00"
    raise CommandError(words, BAD_COMMAND)


def _text(path: Path, encoding: str) -> str:
    try:
        octets = path.read_bytes()
        if octets.startswith((b"\xff\xfe", b"\xfe\xff")):  # it says so itself
            encoding = "utf-16"
        return octets.decode(encoding)
    except UnicodeDecodeError as error:
        found = f"{path}: byte {error.start + 1} is not {encoding}"
        right = "add --encoding with the logger's, such as cp1252"
        raise CommandError(f"{found}; {right}", BAD_FILE) from None
    except LookupError:
        words = f"--encoding: {encoding!r} is unknown; for example: cp1252"
        raise CommandError(words, BAD_COMMAND) from None
    except OSError as error:
        words = f"{path}: cannot be read: {error.strerror}"
        raise CommandError(words, BAD_FILE) from error


def _read_back(path: Path, found: Imported) -> None:
    """Hold that the trace is one, row by row."""
    accuracy = {column.name: 1_000 for column in found.columns}
    back = trace.read(str(path), found.text, accuracy)
    if not isinstance(back, trace.Trace):
        words = render_all(back, found.text)
        raise CommandError(f"the trace would have faults:\n{words}", BAD_FILE)


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        words = f"{path}: cannot be written: {error.strerror}"
        raise CommandError(words, MACHINE) from error

"""The ``fumarium`` command: what a person types, what it answers, how it exits.

Exit: 0 good; 1 a check failed (a lot on hold, a record that does not verify); 2 a
bad command; 3 a bad file; 4 the machine or the network.

Nothing heavy is imported before the command that needs it is known.
"""

import argparse
import logging
import os
import sys
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TypeAlias

from daemon import VERSION

GOOD, CHECK_FAILED, BAD_COMMAND, BAD_FILE, MACHINE = range(5)

SETTINGS = "/etc/fumarium/settings.yaml"
CAUTION = (
    "Fumarium advises and records. The operator, the written HACCP plan, a process "
    "authority, local codes and the inspector decide."
)

Command = Callable[[argparse.Namespace], int]


class CommandError(Exception):
    """A command cannot be carried out; ``code`` is how the program exits."""

    def __init__(self, words: str, code: int) -> None:
        """Keep the words for the person and the code for the shell."""
        super().__init__(words)
        self.code = code


def main(arguments: Sequence[str] | None = None) -> int:
    """Carry out one command; answer the exit code."""
    asked = _parser().parse_args(arguments)
    try:
        return int(asked.command(asked))
    except CommandError as error:
        print(error, file=sys.stderr)
        return error.code
    except BrokenPipeError:  # whoever read our output has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return GOOD
    except KeyboardInterrupt:
        print(file=sys.stderr)
        return MACHINE


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="fumarium",
        description="Watches a smokehouse's probes, judges HACCP critical limits, "
        "alerts people and closes each cook with a signed record.",
        epilog=CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"fumarium {VERSION}")
    commands = parser.add_subparsers(metavar="COMMAND", required=True)
    _service(commands)
    _cook(commands)
    _files(commands)
    _probes(commands)
    _upkeep(commands)
    return parser


Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"


def _service(commands: Commands) -> None:
    run = _add(commands, "run", "run the daemon until it is stopped", _run)
    _settings(run)
    demo = _add(commands, "demo", "watch an invented cook from fire to record", _demo)
    demo.add_argument("--stay", action="store_true", help="keep the page up at the end")
    demo.add_argument("--port", type=int, default=0, help="of the page (default: free)")
    demo.add_argument(
        "--seconds", type=float, default=30.0, help="how long the cook may take"
    )
    demo.add_argument(
        "--built-in-broker",
        action="store_true",
        help="use the embedded broker even if mosquitto is installed",
    )
    key = _add(commands, "key", "make the device key, or show its public half", _key)
    key.add_argument("what", choices=["create", "public"])
    _settings(key)


def _cook(commands: Commands) -> None:
    begin = _add(commands, "begin", "begin a cook of a new lot", _entry)
    begin.add_argument("schedule", type=Path)
    begin.add_argument("--lot", required=True, help="the identity of the lot")
    begin.add_argument("--smokehouse", default="", help="where, if there are several")
    begin.add_argument("--sheet", type=Path, help="the lot sheet of what was weighed")
    end = _add(commands, "end", "end a cook before its last stage is over", _entry)
    end.add_argument("lot")
    following = _add(commands, "next", "end the stage that ends by hand", _entry)
    following.add_argument("lot")
    note = _add(commands, "note", "write down what was seen or done", _entry)
    note.add_argument("lot")
    note.add_argument("text")
    kind = note.add_mutually_exclusive_group()
    kind.add_argument("--corrective", action="store_true", help="a corrective action")
    words = "from now on the probe is no evidence, until a note about it"
    kind.add_argument("--left-out", action="store_true", help=words)
    words = "lift what a set by hand left unproven of a stage or limit; say why"
    kind.add_argument("--lift", action="store_true", help=words)
    note.add_argument("--about", default="", help="the limit, stage or channel")
    moved = _add(commands, "moved", "say that a probe is in another piece now", _entry)
    moved.add_argument("lot")
    moved.add_argument("channel")
    moved.add_argument("text", nargs="?", default="", help="where to, in words")
    moved.add_argument(
        "--settling", default="5 min", help="no evidence for so long (5 min)"
    )
    words = "another probe is in its place: the one that the settings name now"
    moved.add_argument("--replaced", action="store_true", help=words)
    words = "keep core temperatures that were taken by hand, one set"
    spots = _add(commands, "spot-check", words, _entry)
    spots.add_argument("lot")
    spots.add_argument("pieces", help="for example: '72.1, 71.8, 73.0 degC'")
    spots.add_argument("--with", dest="instrument", required=True, help="which one")
    words = "how far it may be off, such as '0.5 K'; else as the settings say"
    spots.add_argument("--within", default="", help=words)
    words = "the stage whose end it is about; else the one that goes on"
    spots.add_argument("--of", default="", help=words)
    acknowledge = _add(commands, "acknowledge", "answer an alert", _entry)
    acknowledge.add_argument("alert", help="its number, or all")
    for command in (begin, end, following, note, moved, spots, acknowledge):
        command.add_argument("--who", required=True, help="your initials")
        _settings(command)
    lots = _add(commands, "lots", "list the lots and how they stand", _lots)
    _settings(lots)
    record = _add(commands, "record", "write the signed record of a lot", _record)
    record.add_argument("lot")
    _settings(record)
    words = "add to a sealed record what was found out later, or list what was"
    addendum = _add(commands, "addendum", words, _addendum)
    addendum.add_argument("lot")
    addendum.add_argument("text", nargs="?", default="", help="what and why, in words")
    addendum.add_argument("--who", default="", help="your initials")
    what = addendum.add_mutually_exclusive_group()
    what.add_argument("--corrective", action="store_true", help="a corrective action")
    what.add_argument("--review", action="store_true", help="the record was reviewed")
    what.add_argument("--channel", default="", help="what its probe said is corrected")
    words = "what it said and what was true (once or twice), such as '%s'"
    addendum.add_argument(
        "--point",
        action="append",
        default=[],
        help=words % "said 147 degF at 140 degF within 0.5 K",
    )
    words = "nobody knows how far it was off: what it said is no evidence"
    addendum.add_argument("--left-out", action="store_true", help=words)
    words = "from when on, such as 2026-01-10T05:00Z (default: the whole cook)"
    addendum.add_argument("--from", dest="since", default="", help=words)
    _settings(addendum)


def _files(commands: Commands) -> None:
    verify = _add(
        commands, "verify", "verify a record or an addendum by a public key", _verify
    )
    verify.add_argument("file", type=Path)
    verify.add_argument("--key", type=Path, required=True, help="the public key (PEM)")
    check = _add(commands, "check", "show every fault in files you wrote", _check)
    check.add_argument("files", nargs="+", type=Path)
    check.add_argument("--json", action="store_true", help="as data")
    shelf = _add(
        commands, "schedules", "list the shipped schedules, copy one out", _schedules
    )
    shelf.add_argument("schedule", nargs="?", default="", help="the one to copy")
    shelf.add_argument("--to", type=Path, metavar="FOLDER", help="default: here")
    reading = _add(commands, "import", "read a logger's export into a trace", _import)
    reading.add_argument("file", type=Path)
    reading.add_argument("--zone", default="", help="the logger's: Europe/Vienna")
    reading.add_argument("--dates", choices=["day-first", "month-first"])
    reading.add_argument("--repeated-hour", choices=["first", "second"])
    named = "HEADER=NAME [UNIT]"
    reading.add_argument("--column", action="append", default=[], metavar=named)
    reading.add_argument("--leave-out", action="append", default=[], metavar="HEADER")
    reading.add_argument("--encoding", default="utf-8", help="such as cp1252")
    reading.add_argument("--write", type=Path, help="the trace; without it, a preview")
    formulate = _add(
        commands, "formulate", "work out what was weighed into a lot", _formulate
    )
    formulate.add_argument("sheet", type=Path)
    told = _add(commands, "simulate", "print an invented day as a trace", _simulate)
    told.add_argument("script", type=Path, help="what happens on that day")
    told.add_argument("--digits", type=int, choices=[0, 1, 2, 3], default=2)
    rehearse = _add(
        commands, "rehearse", "run a schedule on a trace, or a told day", _rehearse
    )
    rehearse.add_argument("schedule", type=Path, help="or a rehearsal file")
    rehearse.add_argument("trace", type=Path, nargs="?", help="for a schedule")
    rehearse.add_argument("--events", action="store_true", help="of a told day too")
    rehearse.add_argument("--begins", default="", help="of a trace in min, s or h")
    rehearse.add_argument("--every", default="", help="reading period, such as '10 s'")
    rehearse.add_argument("--accuracy", default="0.5 K", help="of every probe")
    words = "draw the day too; of several, name one after the file with --day"
    rehearse.add_argument("--plot", type=Path, metavar="FILE.svg|FILE.png", help=words)
    rehearse.add_argument("--day", default="", help="only the day with these words")


def _probes(commands: Commands) -> None:
    words = "show what every probe says now, and how far it can be trusted"
    probes = _add(commands, "probes", words, _probes_now)
    _settings(probes)
    what = probes.add_subparsers(metavar="WHAT")
    named = _add(what, "identify", "name the probe that is warm in a hand", _identify)
    named.add_argument("--seconds", type=float, default=120.0, help="how long at most")
    _settings(named)
    publish = _add(what, "publish", "read this board's probes, publish them", _publish)
    publish.add_argument("board", type=Path, help="the settings of the board")
    _add(what, "doubts", "list why a probe can be doubted, and what then", _doubts)
    found = _add(what, "found", "list the probes this board's kernel shows", _found)
    found.add_argument("--sysfs", type=Path, default=Path("/sys"))


def _upkeep(commands: Commands) -> None:
    status = _add(commands, "status", "show how everything stands just now", _status)
    backup = _add(commands, "backup", "copy the journal while it is written", _backup)
    backup.add_argument("file", type=Path)
    back = _add(commands, "restore", "make a backup the journal", _restore)
    back.add_argument("file", type=Path)
    back.add_argument("--over", action="store_true", help="put the journal aside")
    compact = _add(commands, "compact", "pack old readings into few bytes", _compact)
    words = "show which readings nobody has to keep any longer, and remove them"
    prune = _add(commands, "prune", words, _prune)
    prune.add_argument("--remove", action="store_true", help="without it, only show")
    prune.add_argument("--who", default="", help="your initials, to remove")
    counted = _add(commands, "reconcile", "count journal and mirror", _reconcile)
    for command in (status, backup, back, compact, prune, counted):
        _settings(command)


def _add(
    commands: Commands,
    name: str,
    words: str,
    command: Command,
) -> argparse.ArgumentParser:
    parser = commands.add_parser(name, help=words, description=words, epilog=CAUTION)
    parser.set_defaults(command=command, name=name)
    return parser


def _settings(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--settings",
        type=Path,
        default=Path(os.environ.get("FUMARIUM_SETTINGS", SETTINGS)),
        help=f"the settings file (default: $FUMARIUM_SETTINGS or {SETTINGS})",
    )


def _run(asked: argparse.Namespace) -> int:
    from daemon import commands, run

    logging.basicConfig(
        stream=sys.stderr, level=logging.INFO, format="%(levelname)s %(message)s"
    )
    settings = commands.settings_at(asked.settings)
    with commands.machine_faults():
        run.run(settings, os.environ, lambda words: print(words, flush=True))
    return GOOD


def _demo(asked: argparse.Namespace) -> int:
    from daemon import demo

    return demo.demo(
        stay=asked.stay,
        port=asked.port,
        seconds=asked.seconds,
        built_in=asked.built_in_broker,
    )


def _key(asked: argparse.Namespace) -> int:
    from daemon import commands

    return commands.key(asked.what, commands.settings_at(asked.settings))


def _entry(asked: argparse.Namespace) -> int:
    from daemon import commands

    return commands.entry(asked, commands.settings_at(asked.settings))


def _lots(asked: argparse.Namespace) -> int:
    from daemon import commands

    return commands.lots(commands.settings_at(asked.settings))


def _record(asked: argparse.Namespace) -> int:
    from daemon import commands

    return commands.record(asked.lot, commands.settings_at(asked.settings))


def _addendum(asked: argparse.Namespace) -> int:
    from daemon import addenda, commands

    return addenda.addendum(asked, commands.settings_at(asked.settings))


def _status(asked: argparse.Namespace) -> int:
    from daemon import commands, status

    return status.show(commands.settings_at(asked.settings))


def _backup(asked: argparse.Namespace) -> int:
    from daemon import commands, upkeep

    return upkeep.back_up_to(asked.file, commands.settings_at(asked.settings))


def _restore(asked: argparse.Namespace) -> int:
    from daemon import commands, upkeep

    settings = commands.settings_at(asked.settings)
    return upkeep.restore_from(asked.file, settings, over=asked.over)


def _compact(asked: argparse.Namespace) -> int:
    from daemon import commands, upkeep

    return upkeep.compact_now(commands.settings_at(asked.settings))


def _prune(asked: argparse.Namespace) -> int:
    from daemon import commands, upkeep

    settings = commands.settings_at(asked.settings)
    return upkeep.prune_now(settings, who=asked.who.strip(), remove=asked.remove)


def _reconcile(asked: argparse.Namespace) -> int:
    from daemon import commands, upkeep

    return upkeep.reconcile_now(commands.settings_at(asked.settings))


def _verify(asked: argparse.Namespace) -> int:
    from daemon import commands

    return commands.verify(asked.file, asked.key)


def _check(asked: argparse.Namespace) -> int:
    from daemon import checking

    return checking.check(asked.files, as_json=asked.json)


def _schedules(asked: argparse.Namespace) -> int:
    from daemon import library

    return library.schedules(asked.schedule, asked.to)


def _formulate(asked: argparse.Namespace) -> int:
    from daemon import formulate

    return formulate.formulate(asked.sheet)


def _rehearse(asked: argparse.Namespace) -> int:
    from daemon import rehearse

    return rehearse.rehearse(asked)


def _simulate(asked: argparse.Namespace) -> int:
    from daemon import simulate

    return simulate.run(asked.script, asked.digits)


def _import(asked: argparse.Namespace) -> int:
    from daemon import importing

    return importing.run(asked)


def _probes_now(asked: argparse.Namespace) -> int:
    from daemon import commands, probe_table

    return probe_table.show(commands.settings_at(asked.settings))


def _identify(asked: argparse.Namespace) -> int:
    from daemon import commands, identify

    settings = commands.settings_at(asked.settings)
    with commands.machine_faults():
        say = partial(print, flush=True)
        return identify.identify(settings, asked.seconds, say)


def _publish(asked: argparse.Namespace) -> int:
    from daemon import board_commands

    return board_commands.run(asked.board)


def _doubts(_asked: argparse.Namespace) -> int:
    from daemon import probe_table

    return probe_table.doubts()


def _found(asked: argparse.Namespace) -> int:
    from daemon import board_commands

    return board_commands.found(asked.sysfs)


if __name__ == "__main__":
    # By its own name: a second copy of this module would have its own errors.
    from daemon import cli

    sys.exit(cli.main())

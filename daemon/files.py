"""Files that a person names on the command line, read or refused in words."""

from collections.abc import Iterable
from pathlib import Path

from daemon.cli import BAD_FILE, CommandError
from daemon.secrets import explain
from rules.faults import Fault, render_all
from rules.schedule import Schedule, read_schedule


def text_at(path: Path) -> str:
    """The text of a file.

    Raises:
        CommandError: It cannot be read, or is not UTF-8.
    """
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise CommandError(f"{path}: not UTF-8 text", BAD_FILE) from None
    except OSError as error:
        words = f"{path}: cannot be read: {error.strerror}"
        raise CommandError(words, BAD_FILE) from error


def schedule_at(path: Path) -> tuple[Schedule, str]:
    """The schedule in a file, and its text.

    Raises:
        CommandError: It cannot be read, or there are faults in it.
    """
    text = text_at(path)
    schedule = read_schedule(str(path), text)
    if isinstance(schedule, Schedule):
        return schedule, text
    raise CommandError(render_all(schedule, text), BAD_FILE)


def explained(path: Path, faults: Iterable[Fault]) -> CommandError:
    """The faults of a file that may hold secrets, as the error that ends a command."""
    try:
        source = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        source = ""
    return CommandError(explain(faults, source), BAD_FILE)

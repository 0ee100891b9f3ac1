"""Files that a person names on the command line, read or refused in words."""

import hashlib
from collections.abc import Iterable
from functools import partial
from pathlib import Path

from daemon.cli import BAD_FILE, CommandError
from daemon.secrets import explain
from rules.faults import Fault, render_across
from rules.schedule import Schedule, WholeSchedule, read_whole


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


def beside(path: Path, name: str) -> str:
    """The text of a file beside another, for ``rules.whole``.

    Raises:
        LookupError: It cannot be read, or is not UTF-8; the reason is its argument.
    """
    try:
        return (path.parent / name).read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise LookupError("not UTF-8 text") from None
    except OSError as error:
        raise LookupError(f"cannot be read: {error.strerror}") from error


def whole_at(path: Path, text: str) -> WholeSchedule:
    """A schedule whose text is known, with every file that it names."""
    return read_whole(str(path), text, partial(beside, path))


def schedule_at(path: Path) -> tuple[Schedule, str]:
    """The schedule in a file, and all of its text in one: what a journal keeps.

    A schedule that is one file keeps its author's own text.  One that names others is
    written out whole, headed by the digest of each file that it was made of.

    Raises:
        CommandError: It cannot be read, or there are faults in it.
    """
    found = whole_at(path, text_at(path))
    if found.schedule is None:
        raise CommandError(render_across(found.faults, found.texts), BAD_FILE)
    if len(found.texts) == 1:
        return found.schedule, found.text
    head = "# Made one text of the files with these SHA-256 digests:\n"
    for name, text in found.texts.items():
        head += f"# {hashlib.sha256(text.encode()).hexdigest()}  {Path(name).name}\n"
    return found.schedule, head + found.text


def explained(path: Path, faults: Iterable[Fault]) -> CommandError:
    """The faults of a file that may hold secrets, as the error that ends a command."""
    try:
        source = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        source = ""
    return CommandError(explain(faults, source), BAD_FILE)

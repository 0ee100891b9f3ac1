"""``fumarium schedules``: the schedules that come with the program, to begin from.

They are somebody's starting point and nobody's process: a copy is edited, checked,
rehearsed, and approved by whoever answers for it.
"""

from importlib import resources
from pathlib import Path

from daemon.cli import BAD_COMMAND, GOOD, MACHINE, CommandError
from rules.reader import Marked, marked_tree
from rules.remarks import choice
from rules.schedule import read_whole

SHELF = resources.files("rules").joinpath("library")
REHEARSAL = ".rehearsal.yaml"


def schedules(name: str, folder: Path | None) -> int:
    """List what there is, or copy one schedule with all that belongs to it."""
    titles = _titles()
    if not name:
        width = max(map(len, titles))
        for one, title in titles.items():
            print(f"{one:<{width}}  {title}")
        print("copy one out: fumarium schedules NAME --to FOLDER")
        return GOOD
    if name not in titles:
        words = f"there is no schedule {name!r}; {choice(name, [*titles])}"
        raise CommandError(words, BAD_COMMAND)
    for path in _copied(name, folder or Path()):
        print(path)
    return GOOD


def _titles() -> dict[str, str]:
    """Every schedule's title, by the name of its file."""
    names = sorted(one.name for one in SHELF.iterdir())
    found = {}
    for name in names:
        if not name.endswith(".yaml") or name.endswith(REHEARSAL):
            continue
        marked = marked_tree(name, _text(name))
        assert isinstance(marked, Marked) and isinstance(marked.tree, dict)
        found[name.removesuffix(".yaml")] = str(marked.tree["schedule"])
    return found


def _copied(name: str, folder: Path) -> list[Path]:
    """Write a schedule, its rehearsal and its tables; never over another file."""
    schedule = f"{name}.yaml"
    whole = read_whole(schedule, _text(schedule), _text)
    paths = [folder / one for one in (*whole.texts, name + REHEARSAL)]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if there := [str(path) for path in paths if path.exists()]:
            words = "".join(f"{one}: is there already\n" for one in there)
            raise CommandError(f"{words}give another folder with --to", BAD_COMMAND)
        for path in paths:
            path.write_text(_text(path.name), encoding="utf-8")
    except OSError as error:
        raise CommandError(f"{error.strerror}: {error.filename}", MACHINE) from error
    return paths


def _text(name: str) -> str:
    return SHELF.joinpath(name).read_text(encoding="utf-8")

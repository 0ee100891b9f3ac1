"""``fumarium simulate``: a written day of the simulated smokehouse as a trace."""

from pathlib import Path

from daemon.cli import BAD_FILE, GOOD, CommandError
from daemon.files import text_at
from daemon.script_file import read_script
from probes.contract import Unit
from probes.script import Script
from probes.simulator import simulate
from probes.trace import Column, Trace, write
from rules.facts import Reading
from rules.faults import render_all

INVENTED = "# Invented and simulated: nothing here was measured. From: {name}\n"


def run(path: Path, digits: int) -> int:
    """Print the trace of a script."""
    print(trace_of(path, digits), end="")
    return GOOD


def trace_of(path: Path, digits: int = 2) -> str:
    """The trace of a script, in degrees to so many digits, with a word about it.

    Raises:
        CommandError: It cannot be read, has faults, or one of its steps never ends.
    """
    text = text_at(path)
    script = read_script(str(path), text)
    if isinstance(script, list):
        raise CommandError(render_all(script, text), BAD_FILE)
    grain_mc = 10 ** (3 - digits)
    try:
        readings = [
            Reading(
                one.channel, one.at_ms, round(one.value_mc / grain_mc) * grain_mc, 0
            )
            for one in simulate(script)
        ]
    except ValueError as error:
        raise CommandError(f"{path}: {error}", BAD_FILE) from error
    trace = Trace(_columns(script), tuple(readings))
    return INVENTED.format(name=path.name) + write(trace)


def _columns(script: Script) -> tuple[Column, ...]:
    return tuple(Column(one.channel, Unit.CELSIUS) for one in script.probes)

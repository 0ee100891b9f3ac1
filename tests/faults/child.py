"""The daemon, or a bare writer of a journal, on a machine that is worse than ours.

    python -m tests.faults.child [OPTION ...] run ...
    python -m tests.faults.child --unsynced SEED --cut-after N write JOURNAL

``--unsynced`` lays a disk under it that forgets what was not synced, ``--careless``
has the journal not wait for the disk: what a fault run must notice.  The disk is full
while there is a file named as ``--full-while`` says.
"""

import argparse
import sqlite3
import sys
from pathlib import Path

from daemon import alarm, cli, journal, mqtt, run
from daemon.journal_schema import open_file
from tests.daemon.test_journal_crash import write_for_ever
from tests.faults.unsynced import Disk


def main() -> int:
    """Make the machine worse, then be what was asked for."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--unsynced", type=int)
    parser.add_argument("--cut-after", type=int, default=0)
    parser.add_argument("--careless", action="store_true")
    parser.add_argument("--full-while", default="")
    parser.add_argument("--alarm-ms", type=int, default=alarm.FIRST_MS)
    parser.add_argument("--return-ms", type=int, default=run.RETURN_MS)
    parser.add_argument("--away-ms", type=int, default=run.AWAY_MS)
    parser.add_argument("--back-off-s", type=int, default=mqtt.BACK_OFF_S[1])
    asked, words = parser.parse_known_args()
    if asked.unsynced is not None:
        Disk(asked.unsynced, asked.cut_after, asked.full_while).lay_under()
    if asked.careless:
        journal.open_file = _careless  # type: ignore[attr-defined]
    run.RETURN_MS, alarm.FIRST_MS = asked.return_ms, asked.alarm_ms
    run.AWAY_MS, mqtt.BACK_OFF_S = asked.away_ms, (1, asked.back_off_s)
    if words[0] == "write":
        write_for_ever(Path(words[1]))
    return cli.main(words)


def _careless(path: Path, *, create: bool, check: bool) -> sqlite3.Connection:
    connection = open_file(path, create=create, check=check)
    connection.execute("PRAGMA synchronous = OFF")
    return connection


if __name__ == "__main__":
    sys.exit(main())

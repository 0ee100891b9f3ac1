"""A disk that forgets: a SQLite VFS under which only what was synced survives.

``lay_under`` puts it under every database that this process opens from then on.  A
write or a cut of a database or its log is kept in memory until the file is synced;
now and then, as an operating system may, one of them is let through early, whole or
torn at a sector, in any order.  SIGKILL then does what a power cut does: what was
never synced is gone.  The SQLite below and the program above are the real ones.

It works where Python's sqlite3 uses the system's library, as on Debian.

Source: sqlite.org/c3ref/vfs.html and io_methods.html; sqlite.org/atomiccommit.html,
section 2, for what a disk may do.
"""

import ctypes
import ctypes.util
import os
import random
import signal
import sqlite3
import threading
import traceback
from collections.abc import Callable
from ctypes import CFUNCTYPE, POINTER, byref, c_char_p, c_int, c_int64, c_void_p, cast
from dataclasses import dataclass, field
from typing import Any, NamedTuple

SECTOR_BYTES = 512
EARLY = 0.2  # how often a write that is not synced reaches the disk all the same
OK, FULL, SHORT_READ = 0, 13, 522  # SQLITE_FULL, SQLITE_IOERR_SHORT_READ
HELD = 0x100 | 0x80000  # SQLITE_OPEN_MAIN_DB, SQLITE_OPEN_WAL

Close = CFUNCTYPE(c_int, c_void_p)
Transfer = CFUNCTYPE(c_int, c_void_p, c_void_p, c_int, c_int64)
Truncate = CFUNCTYPE(c_int, c_void_p, c_int64)
Sync = CFUNCTYPE(c_int, c_void_p, c_int)
FileSize = CFUNCTYPE(c_int, c_void_p, POINTER(c_int64))
Fetch = CFUNCTYPE(c_int, c_void_p, c_int64, c_int, POINTER(c_void_p))
# A name stays a pointer: SQLite keeps it, and reads what stands behind its end.
Open = CFUNCTYPE(c_int, c_void_p, c_void_p, c_void_p, c_int, POINTER(c_int))
Delete = CFUNCTYPE(c_int, c_void_p, c_void_p, c_int)


_ALIVE: list[object] = []  # what C points to for as long as the process runs


class _Methods(ctypes.Structure):
    """``sqlite3_io_methods`` of edition 3; what is not replaced is only copied."""

    _fields_ = (
        ("version", c_int),
        ("close", Close),
        ("read", Transfer),
        ("write", Transfer),
        ("truncate", Truncate),
        ("sync", Sync),
        ("file_size", FileSize),
        ("copied", c_void_p * 10),  # locks, control and shared memory
        ("fetch", Fetch),
        ("unfetch", c_void_p),
    )


class _Vfs(ctypes.Structure):
    """``sqlite3_vfs`` of edition 3; what is not replaced is only copied."""

    _fields_ = (
        ("version", c_int),
        ("file_bytes", c_int),
        ("longest_path", c_int),
        ("next", c_void_p),
        ("name", c_char_p),
        ("app_data", c_void_p),
        ("open", Open),
        ("delete", Delete),
        ("copied", c_void_p * 14),
    )


class _File(ctypes.Structure):
    _fields_ = (("methods", POINTER(_Methods)),)


class _Change(NamedTuple):
    """A write at ``at``, or a cut to the length ``at`` where there are no octets."""

    at: int
    octets: bytes | None


@dataclass
class _Held:
    """What was done to one file since it was last synced, oldest first."""

    changes: list[_Change] = field(default_factory=list)
    lock: threading.RLock = field(default_factory=threading.RLock)


class Disk:
    """The disk under this process."""

    def __init__(self, seed: int, cut_after: int = 0, full_while: str = "") -> None:
        """Let writes through early as ``seed`` says.

        The power is cut by itself at the ``cut_after``-th thing that is done, and
        no file grows while there is a file named ``full_while``.
        """
        self._full_while = full_while
        self._chance = random.Random(seed)
        self._left = cut_after
        self._held: dict[str, _Held] = {}
        self._files: dict[int, tuple[_Held, _Methods]] = {}
        self._tables: dict[int, _Methods] = {}

    def lay_under(self) -> None:
        """Become the disk of every database opened from now on."""
        name = ctypes.util.find_library("sqlite3")
        library = ctypes.CDLL(name)
        library.sqlite3_libversion.restype = c_char_p
        if library.sqlite3_libversion().decode() != sqlite3.sqlite_version:
            raise RuntimeError(f"Python's sqlite3 does not use the system's {name}")
        library.sqlite3_vfs_find.restype = POINTER(_Vfs)
        below = library.sqlite3_vfs_find(None).contents
        ours = _Vfs.from_buffer_copy(below)
        ours.name, ours.next = b"unsynced", None
        ours.open = Open(_all_or_nothing(lambda *a: self._open(below, *a)))
        ours.delete = Delete(_all_or_nothing(lambda *a: self._delete(below, *a)))
        _ALIVE.extend([self, library, ours, below])
        assert library.sqlite3_vfs_register(byref(ours), 1) == OK

    def _open(
        self, below: Any, vfs: Any, name: int, file: int, flags: int, out: Any
    ) -> int:
        code: int = below.open(vfs, name, file, flags, out)
        if code == OK and name and flags & HELD:
            opened = cast(file, POINTER(_File)).contents
            real = opened.methods.contents
            held = self._held.setdefault(_path(name), _Held())
            self._files[file] = (held, real)
            opened.methods = ctypes.pointer(self._table(real))
        return code

    def _table(self, real: _Methods) -> _Methods:
        """The methods of a held file in place of the real ones."""
        at = ctypes.addressof(real)
        if at not in self._tables:
            table = _Methods.from_buffer_copy(real)
            table.close = Close(_all_or_nothing(self._close))
            table.read = Transfer(_all_or_nothing(self._read))
            table.write = Transfer(_all_or_nothing(self._write))
            table.truncate = Truncate(_all_or_nothing(self._truncate))
            table.sync = Sync(_all_or_nothing(self._sync))
            table.file_size = FileSize(_all_or_nothing(self._file_size))
            table.fetch = Fetch(_all_or_nothing(_nothing_mapped))
            self._tables[at] = table
        return self._tables[at]

    def _close(self, file: int) -> int:
        _, real = self._files.pop(file)
        return int(real.close(file))

    def _delete(self, below: Any, vfs: Any, name: int, sync: int) -> int:
        self._count()
        if held := self._held.get(_path(name)):
            with held.lock:
                held.changes.clear()
        return int(below.delete(vfs, name, sync))

    def _read(self, file: int, into: int, amount: int, at: int) -> int:
        held, real = self._files[file]
        with held.lock:
            code = real.read(file, into, amount, at)
            if code not in (OK, SHORT_READ) or not held.changes:
                return int(code)
            seen = bytearray(ctypes.string_at(into, amount))
            for change in held.changes:
                _show(seen, at, change)
            ctypes.memmove(into, bytes(seen), amount)
            return SHORT_READ if at + amount > self._length(file) else OK

    def _write(self, file: int, octets: int, amount: int, at: int) -> int:
        return self._hold(file, _Change(at, ctypes.string_at(octets, amount)))

    def _truncate(self, file: int, length: int) -> int:
        return self._hold(file, _Change(length, None))

    def _hold(self, file: int, change: _Change) -> int:
        self._count()
        held, real = self._files[file]
        with held.lock:
            if self._is_full(file, change):
                return FULL
            held.changes.append(change)
            if self._chance.random() < EARLY:
                early = self._chance.choice(held.changes)
                if early.octets and self._chance.random() < 0.5:
                    sectors = self._chance.randint(0, len(early.octets) // SECTOR_BYTES)
                    torn = early.octets[: sectors * SECTOR_BYTES]
                    early = _Change(early.at, torn)
                _do(file, real, early)
        return OK

    def _is_full(self, file: int, change: _Change) -> bool:
        """Whether the change would need room that the disk has not got."""
        if change.octets is None or not self._full_while:
            return False
        end = change.at + len(change.octets)
        return os.path.exists(self._full_while) and end > self._length(file)

    def _sync(self, file: int, _flags: int) -> int:
        self._count()
        held, real = self._files[file]
        with held.lock:
            for number, change in enumerate(held.changes):
                if number:
                    self._count()  # the power may go in the middle of it
                _do(file, real, change)
            held.changes.clear()
        return OK

    def _file_size(self, file: int, out: Any) -> int:
        out[0] = self._length(file)
        return OK

    def _length(self, file: int) -> int:
        held, real = self._files[file]
        size = c_int64()
        with held.lock:
            assert real.file_size(file, byref(size)) == OK
            length = size.value
            for at, octets in held.changes:
                length = at if octets is None else max(length, at + len(octets))
        return length

    def _count(self) -> None:
        if self._left:
            self._left -= 1
            if not self._left:
                os.kill(os.getpid(), signal.SIGKILL)


def _path(name: int) -> str:
    return os.fsdecode(ctypes.string_at(name))


def _do(file: int, real: _Methods, change: _Change) -> None:
    """Let one change reach the disk."""
    if change.octets is None:
        code = real.truncate(file, change.at)
    else:
        code = real.write(file, change.octets, len(change.octets), change.at)
    assert code == OK


def _show(seen: bytearray, at: int, change: _Change) -> None:
    """Put the part of a change that lies in what was read over it."""
    if change.octets is None:
        keep = max(0, change.at - at)
        seen[keep:] = bytes(len(seen) - min(keep, len(seen)))
        return
    from_, to = max(at, change.at), min(at + len(seen), change.at + len(change.octets))
    if from_ < to:
        part = change.octets[from_ - change.at : to - change.at]
        seen[from_ - at : to - at] = part


def _nothing_mapped(_file: int, _at: int, _amount: int, out: Any) -> int:
    out[0] = None
    return OK


def _all_or_nothing(callback: Callable[..., int]) -> Callable[..., int]:
    """The callback; an error in it ends the process, since C cannot be told."""

    def called(*arguments: Any) -> int:
        try:
            return callback(*arguments)
        except BaseException:
            traceback.print_exc()
            os._exit(97)

    return called

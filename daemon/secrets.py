"""Secrets: passwords, tokens and addresses that let somebody in.

A ``Secret`` never shows its value by accident: only ``reveal()`` gives it.  The
settings name where a secret is kept, ``{file: PATH}`` or ``{environment: NAME}``,
or carry it as plain text.  What of the settings' text may be shown beside a fault is
decided in ``daemon.masks``.
"""

import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo

from daemon.masks import explain, redacted
from rules.units import refused

__all__ = ["Secret", "explain", "redacted", "secret"]

RIGHT = "write {file: PATH}, {environment: NAME} or one line of text"


@dataclass(frozen=True, slots=True, repr=False)
class Secret:
    """A text that is never shown; ``reveal`` gives it to whom it is meant for."""

    _value: str

    def reveal(self) -> str:
        """The secret itself."""
        return self._value

    def __repr__(self) -> str:
        return "Secret(...)"

    __str__ = __repr__


def secret(value: object, info: ValidationInfo) -> Secret:
    """Take a secret from where the settings say it is kept."""
    if isinstance(value, str):
        return Secret(_one_line(value, "the secret"))
    if isinstance(value, dict) and set(value) == {"file"}:
        return _InFile.model_validate(value, context=info.context).file
    if isinstance(value, dict) and set(value) == {"environment"}:
        return _InEnvironment.model_validate(value, context=info.context).environment
    raise refused("this does not say where the secret is kept", RIGHT)


def _from_file(value: object, info: ValidationInfo) -> Secret:
    path = Path((info.context or {}).get("folder", ""), str(value))
    try:
        with path.open(encoding="utf-8") as file:
            if stat.S_IMODE(path.stat().st_mode) & 0o007:
                found = f"everybody on this machine can read {str(path)!r}"
                raise refused(found, f"run: chmod 600 {path}")
            text = file.read()
    except UnicodeDecodeError:
        raise refused(f"{str(path)!r} is not text", "write one line of text") from None
    except OSError as error:
        found = f"{str(path)!r} cannot be read: {error.strerror}"
        raise refused(found, "write the secret's file, readable by this user") from None
    return Secret(_one_line(text.removesuffix("\n"), repr(str(path))))


def _from_environment(value: object, info: ValidationInfo) -> Secret:
    environment: Mapping[str, str] = (info.context or {}).get("environment", {})
    if value not in environment:
        found = f"the environment variable {value!r} is not set"
        raise refused(found, f"run the program with {value}=...")
    return Secret(_one_line(environment[str(value)], f"the variable {value!r}"))


def _one_line(text: str, where: str) -> str:
    if not text.strip():
        raise refused(f"{where} is empty", "write the secret there, on one line")
    if not text.isprintable():
        raise refused(f"{where} is more than one line", "write it on one line")
    return text


class _InFile(BaseModel):
    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)
    file: Annotated[Secret, BeforeValidator(_from_file)]


class _InEnvironment(BaseModel):
    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)
    environment: Annotated[Secret, BeforeValidator(_from_environment)]

"""The payload forms: every module in this folder declares one ``FORM``.

``FORMS`` holds them by the word of the settings, in the order of the modules' names.
A new form is a new module here; nothing else names it.
"""

from collections.abc import Iterable, Mapping
from importlib import import_module
from pkgutil import iter_modules

from probes.form import Form, Key


class FormsError(Exception):
    """Two modules contradict each other, or one declares no form."""


def declared(folders: Iterable[str], package: str) -> tuple[Form, ...]:
    """What every module in these folders of the package declares, in their order.

    Raises:
        FormsError: A module has no ``FORM``.
    """
    found: list[Form] = []
    for name in sorted(module.name for module in iter_modules(folders)):
        form = getattr(import_module(f"{package}.{name}"), "FORM", None)
        if not isinstance(form, Form):
            raise FormsError(f"{package}.{name} declares no FORM")
        found.append(form)
    return tuple(found)


def by_name(forms: Iterable[Form]) -> Mapping[str, Form]:
    """The forms by their names, in their order.

    Raises:
        FormsError: Two have one name, or mean different things by one key.
    """
    named: dict[str, Form] = {}
    for form in forms:
        if form.name in named:
            raise FormsError(f"two forms are called {form.name!r}")
        named[form.name] = form
    keys_of(named.values())
    return named


def keys_of(forms: Iterable[Form]) -> tuple[Key, ...]:
    """Every key that any of the forms has, once.

    Raises:
        FormsError: Two forms mean different things by one word.
    """
    keys: dict[str, Key] = {}
    for form in forms:
        for key in form.keys:
            if keys.setdefault(key.word, key) != key:
                raise FormsError(f"{form.name!r} means something else by {key.word!r}")
    return tuple(keys.values())


FORMS = by_name(declared(__path__, __name__))

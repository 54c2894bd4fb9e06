"""The sentences in English, a file a room of the report; `TEMPLATES` holds them all."""

from __future__ import annotations

from importlib import import_module
from pkgutil import iter_modules

TEMPLATES: dict[str, str] = {
    f"{module.name}.{name}": text
    for module in iter_modules(__path__)
    for name, text in import_module(f"{__name__}.{module.name}").SENTENCES.items()
}

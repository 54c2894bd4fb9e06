"""How each file of a study is read: the section `reading` for all files, and over it what `files` says of one.

Precedence is per entry (a table's column, a word), never per section: what is said of a sheet goes before what is
said of its file, and that before what is said of all. `~` cancels an entry.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import Any

from liftseries.base.errors import Problem, StudyError, did_you_mean
from liftseries.study.form_problems import doubts, form_problems
from liftseries.study.forms import EACH, folded_name, forms_of
from liftseries.study.plan_files import PLAN_FILE, file_of, load_written
from liftseries.study.plan_shape import plan_schema, shape_problems
from liftseries.study.reading import Reading, folded, reading_of, reading_problems, words_as_text
from liftseries.study.schema import Table

WORD_LISTS = ("not_recorded", "not_applicable")
LISTS_BY_TABLE = ("not_collected", "cleared")
# What is said of a column in one of these takes it out of the common section's others.
NOT_BESIDE = {
    "columns": ("constants", "not_collected"),
    "constants": ("columns", "not_collected", "empty_means"),
    "not_collected": ("columns", "constants", "empty_means"),
    "empty_means": ("constants", "not_collected"),
}
SHOWN_DOUBTS = 5


def reading_schema() -> Mapping[str, Any]:
    """What may stand in a file's reading: the section `reading` of schemas/plan.yaml."""
    return plan_schema()["properties"]["reading"]


def own_readings(written: Any, folder: Path) -> tuple[dict[str, dict[str, Any]], list[Problem]]:
    """What `files` says of each file, its `reading/NAME.yaml` loaded, and what is wrong with its shape.

    Parameters
    ----------
    written : the section `files` of study.yaml
    folder : the study's
    """
    own, problems = {}, []
    for label, entry in (written if isinstance(written, dict) else {}).items():
        where = place_of(label, entry)
        try:
            content = _loaded(entry, folder, where) if isinstance(entry, str) else entry
        except StudyError as error:
            problems += error.problems
            continue
        if not isinstance(content, dict):
            continue  # the shape of study.yaml tells of it
        content = words_as_text(content)
        if left := list(doubts(content)):
            problems.append(Problem(where, _still_doubtful(left)))
        elif wrong := list(shape_problems(_shaped(content), reading_schema(), where)):
            problems += wrong
        else:
            own[str(label)] = content
    return own, problems


def place_of(label: str, entry: Any) -> str:
    """Where the reading of a file stands: in a file of its own, or in study.yaml."""
    return str(entry) if isinstance(entry, str) else f"{PLAN_FILE}, files, {label}"


def _loaded(entry: str, folder: Path, where: str) -> Any:
    path = folder / PurePosixPath(entry.replace("\\", "/"))
    if not path.resolve().is_relative_to(folder.resolve()) or path.suffix.lower() not in (".yaml", ".yml"):
        message = "is no .yaml file inside the study folder. Name one, such as reading/north.yaml."
        raise StudyError([Problem(f"{PLAN_FILE}, files", message)])
    return load_written(path, where, "`liftseries map` drafts one", comments_do=True)


def _still_doubtful(left: list[str]) -> str:
    shown = "; ".join(left[:SHOWN_DOUBTS]) + (f" and {len(left) - SHOWN_DOUBTS} more" if left[SHOWN_DOUBTS:] else "")
    entries = "1 entry is still a question" if len(left) == 1 else f"{len(left)} entries are still questions"
    return f"{entries} (`?`): {shown}. Write what is meant there without the `?`, or delete the line."


def _shaped(content: dict[str, Any]) -> dict[str, Any]:
    """A reading with something empty of the right kind where `~` cancels an entry, so that its names are checked."""
    known, shaped = reading_schema()["properties"], {}
    for key, entry in content.items():
        if key in known and entry is None:
            entry = known[key]["default"]
        elif isinstance(entry, dict):
            nothing: Any = [] if key in LISTS_BY_TABLE else {}
            entry = {name: nothing if inner is None else _without_cancelled(inner) for name, inner in entry.items()}
        shaped[key] = entry
    return shaped


def _without_cancelled(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_cancelled(entry) for key, entry in value.items() if entry is not None}
    return value


def readings_of(filled: Mapping[str, Any], own: Mapping[str, Mapping], labels: list[str]) -> dict[str, Reading]:
    """How each file is read, by its label in study.yaml; of a study.yaml without problems.

    Parameters
    ----------
    filled : study.yaml, its defaults filled in
    own : see `own_readings`
    labels : the files of the tables, as study.yaml names them
    """
    common, readings = forms_of(filled["reading"]), {}
    tables = {*common.columns, *common.each, *common.only_rows}
    named = {folded_name(name) for table in tables for name in common.sources(table)}
    for label in labels:
        section = _section_of(filled, own, label)
        of_file = {name for key in (file_of(label), label) if key in own for name in _names_in(own[key])}
        own_empty = set().union(
            *(_by_table(own[key].get("empty_means")) for key in (file_of(label), label) if key in own)
        )
        forms = forms_of(section, frozenset(named - of_file))
        forms = replace(forms, common_empty_means=frozenset(_by_table(common.empty_means) - own_empty))
        readings[label] = reading_of(section, forms, _where(filled, own, label))
    return readings


def _by_table(section: Mapping[str, Any] | None) -> set[tuple[str, str]]:
    return {(table, name) for table, names in (section or {}).items() for name in names or ()}


def _section_of(filled: Mapping[str, Any], own: Mapping[str, Mapping], label: str) -> dict[str, Any]:
    section = dict(filled["reading"])
    for key in dict.fromkeys((file_of(label), label)):
        if key in own:
            section = merged(section, own[key])
    return section


def _where(filled: Mapping[str, Any], own: Mapping[str, Mapping], label: str) -> str:
    for key in (label, file_of(label)):
        if key in own:
            return place_of(key, filled["files"][key])
    return f"{PLAN_FILE}, reading"


def _names_in(value: Any) -> set[str]:
    """Every text of a reading: a column's name that stands among them is not the common section's alone."""
    if isinstance(value, Mapping):
        return {folded_name(key) for key in value} | {name for entry in value.values() for name in _names_in(entry)}
    if isinstance(value, list | tuple):
        return {name for entry in value for name in _names_in(entry)}
    return {folded_name(value)} if isinstance(value, str) else set()


def merged(common: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """A section with what one file says over it, entry by entry."""
    result = dict(common)
    for form, others in NOT_BESIDE.items():
        for other in others:
            result[other] = _without_columns(result[other], own.get(form) or {})
    for key, entry in own.items():
        default = reading_schema()["properties"][key]["default"]
        if entry is None:
            result[key] = default
        elif key in WORD_LISTS:
            for word_list in WORD_LISTS:
                result[word_list] = [word for word in result[word_list] if folded(word) not in map(folded, entry)]
            result[key] = [*result[key], *entry]
        elif key == "ignore":
            result[key] = list(dict.fromkeys([*result[key], *entry]))
        elif key in LISTS_BY_TABLE:
            result[key] = {**result[key]}
            for table, names in entry.items():
                result[key][table] = list(dict.fromkeys([*result[key].get(table, ()), *names])) if names else []
        elif isinstance(default, dict):
            result[key] = _merged_entries(result[key], entry, MERGED_BY_KEY.get(key, _merged_entries))
        else:
            result[key] = entry
    return result


def _without_columns(section: Mapping[str, Any], named: Mapping[str, Any]) -> dict[str, Any]:
    """A section by table without the columns that `named` has, other than those that it cancels."""
    kept = {}
    for table, names in section.items():
        away = named.get(table) or ()
        left = [name for name in names if name not in away or (isinstance(away, Mapping) and away[name] is None)]
        kept[table] = left if isinstance(names, list) else {name: names[name] for name in left}
    return kept


def _merged_entries(
    common: Mapping[str, Any],
    own: Mapping[str, Any],
    inner: Callable[[Any, Any], Any] | None = None,
    same: Callable[[str], str] = str,
) -> dict[str, Any]:
    """The common entries with the file's own over them, each merged by `inner`; names are one that `same` makes one."""
    result, known = dict(common), {same(name): name for name in common}
    for name, entry in own.items():
        before = result.pop(known.get(same(name), name), None)
        if entry is not None:
            result[name] = inner(before or {}, entry) if inner and isinstance(entry, Mapping) else _not_cancelled(entry)
    return result


def _merged_words(common: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    return _merged_entries(common, own, same=_same_word)


def _merged_columns(common: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """The entries of one table under `columns`."""
    result = _merged_entries(common, own)
    for name, entry in own.items():
        if name != EACH and entry is not None and name in common:
            result[name] = _merged_column(common[name], entry)
    return result


def _merged_column(common: Any, own: Any) -> Any:
    """Words are kept one by one, each under `words` or `missing`; where the cells come from is one entry."""
    common, own = (entry if isinstance(entry, Mapping) else {"from": entry} for entry in (common, own))
    said, gone = own.get("words") or {}, own.get("missing") or []
    if not (isinstance(said, Mapping) and isinstance(gone, list)):
        return own  # of a wrong shape, which is told
    before = {} if "words" in own and own["words"] is None else common.get("words") or {}
    absent = [] if "missing" in own and own["missing"] is None else common.get("missing") or []
    here = {_same_word(word) for word in gone}
    entry = {**({} if "from" in own else common), **own}
    entry["words"] = _merged_words({word: before[word] for word in before if _same_word(word) not in here}, said)
    here |= {_same_word(word) for word in said}
    entry["missing"] = [*(word for word in absent if _same_word(word) not in here), *gone]
    return {key: value for key, value in entry.items() if value is not None and value not in ({}, [])}


def _same_word(word: object) -> str:
    return folded(str(word))


def _not_cancelled(entry: Any) -> Any:
    return _without_cancelled(dict(entry)) if isinstance(entry, Mapping) else entry


def _merged_by_header(common: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    return _merged_entries(common, own, same=folded_name)


MERGED_BY_KEY = {"levels": _merged_words, "columns": _merged_columns, "only_rows": _merged_by_header}


def file_reading_problems(
    filled: Mapping[str, Any], own: Mapping[str, Mapping], labels: list[str], schema: Mapping[str, Table]
) -> Iterator[Problem]:
    """What is wrong with the content of `reading` and `files`: the common section first, each thing once."""
    common = filled["reading"]
    of_all = [*reading_problems(common, schema), *form_problems(common, schema)]
    yield from (Problem(f"{PLAN_FILE}, reading, {where}", message) for where, message in of_all)
    known = list(dict.fromkeys([*labels, *map(file_of, labels)]))
    for label in filled["files"]:
        if label not in known:
            message = f'"{label}" is no file of `tables`.{did_you_mean(str(label), known)} Correct or delete it.'
            yield Problem(f"{PLAN_FILE}, files", message)
    if of_all:
        return  # what one file says over it would be told twice
    seen = set()
    for label in labels:
        section, place = _section_of(filled, own, label), _where(filled, own, label)
        for where, message in (*reading_problems(section, schema), *form_problems(section, schema)):
            if (place, where, message) not in seen:
                seen.add((place, where, message))
                yield Problem(f"{place}, {where}", message)

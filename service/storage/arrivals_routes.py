"""From the texts of an uploaded row to integer keys, by the cheapest join that is exact."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

from msgspec import Struct

from service.storage.arrivals_file import ArrivedFile
from service.storage.arrivals_keys import (
    STRETCH_COLUMNS,
    TEXT_COLUMNS,
    ArrivedStretch,
    Group,
    KeyedFile,
    StretchName,
)
from service.storage.store import Cursor

_MOST_CASES = 16
"""Up to so many different texts of a column are told apart by comparing; more by a join."""
_DATABASE_TYPE = {"station_no": "INTEGER"}
TEXT_KEY_COLUMNS = {
    "station_mode": "station_mode_key",
    "stop_reason": "stop_reason_key",
    "sensor_id": "sensor_key",
    "calibration_id": "calibration_key",
}


class Routes(Struct, frozen=True, kw_only=True):
    """SQL that gives a row r its keys: joins that add s.stretch_key, an expression per text."""

    joins: str
    text_keys: Mapping[str, str]
    parameters: Mapping[str, str]


def identifying_columns(stretches: Sequence[StretchName]) -> tuple[str, ...]:
    """
    Fewest columns that tell the stretches of one file apart.

    Examples
    --------
    >>> identifying_columns([("RIG-A", "1", 1, "L", "001"), ("RIG-A", "1", 2, "L", "002")])
    ('station_no',)
    >>> identifying_columns([("RIG-A", "1", 1, "L", "001"), ("RIG-A", "2", 1, "L", "001")])
    ('run_id',)
    """
    # Integers are compared faster than texts.
    order = sorted(range(len(STRETCH_COLUMNS)), key=lambda i: STRETCH_COLUMNS[i] != "station_no")
    for size in range(len(order) + 1):
        for chosen in combinations(order, size):
            if len({tuple(name[i] for i in chosen) for name in stretches}) == len(stretches):
                return tuple(STRETCH_COLUMNS[i] for i in chosen)
    raise AssertionError("two stretches have the same name")


def make_routes(db: Cursor, keyed: KeyedFile, stretches: Sequence[ArrivedStretch]) -> Routes:
    """
    Route the rows of `stretches` to their keys; rows of other stretches find no way.

    Parameters
    ----------
    db : Cursor
        Its temporary table ``routes`` is made anew.
    keyed : KeyedFile
    stretches : sequence of ArrivedStretch
        Those wanted, all or a part of the file's.

    Returns
    -------
    Routes
    """
    file, groups, texts = keyed.file, keyed.groups, keyed.texts
    columns = identifying_columns(list(dict.fromkeys(group.stretch for group in groups)))
    by_stretch = {name: _text_of_stretch(groups, index) for index, name in enumerate(TEXT_COLUMNS)}
    _fill_routes(db, columns, stretches, {n: of for n, of in by_stretch.items() if of}, texts)
    joins = ["JOIN routes AS s ON " + (_equal(file, columns) or "true")]
    text_keys: dict[str, str] = {}
    parameters: dict[str, str] = {}
    for index, name in enumerate(TEXT_COLUMNS):
        used = sorted({text for group in groups if (text := group.texts[index]) is not None})
        if not used:
            text_keys[name] = "NULL::INTEGER"
        elif by_stretch[name]:
            text_keys[name] = f"s.{TEXT_KEY_COLUMNS[name]}"
        elif len(used) <= _MOST_CASES:
            bound = {f"{name}_{number}": text for number, text in enumerate(used)}
            parameters |= bound
            text_keys[name] = _cases(file.stored(name), {n: texts[t] for n, t in bound.items()})
        else:
            joins.append(
                f"LEFT JOIN texts AS {name}_text ON {name}_text.text = {file.stored(name)}"
            )
            text_keys[name] = f"{name}_text.text_key"
    return Routes(joins=" ".join(joins), text_keys=text_keys, parameters=parameters)


def _text_of_stretch(groups: Sequence[Group], index: int) -> dict[StretchName, str | None]:
    """Text of each stretch in one text column; nothing at all if one stretch has two."""
    found: dict[StretchName, str | None] = {}
    for group in groups:
        if found.setdefault(group.stretch, group.texts[index]) != group.texts[index]:
            return {}
    return found


def _fill_routes(
    db: Cursor,
    columns: Sequence[str],
    stretches: Sequence[ArrivedStretch],
    by_stretch: Mapping[str, Mapping[StretchName, str | None]],
    texts: Mapping[str, int],
) -> None:
    """Table of the stretches wanted: what identifies each, its key, keys of its texts."""
    values: dict[str, list[int] | list[str] | list[int | None]] = {
        "stretch_key": [stretch.stretch_key for stretch in stretches],
        "lot_key": [stretch.lot_key for stretch in stretches],
    }
    types = {"stretch_key": "INTEGER", "lot_key": "INTEGER"}
    for column in columns:
        index = STRETCH_COLUMNS.index(column)
        values[column] = [stretch.name[index] for stretch in stretches]  # type: ignore[assignment]  # all of one column are of one type
        types[column] = _DATABASE_TYPE.get(column, "VARCHAR")
    for name, of_stretch in by_stretch.items():
        cells = [of_stretch[stretch.name] for stretch in stretches]
        values[TEXT_KEY_COLUMNS[name]] = [None if cell is None else texts[cell] for cell in cells]
        types[TEXT_KEY_COLUMNS[name]] = "INTEGER"
    wanted = ", ".join(f"unnest(${name}::{types[name]}[]) AS {name}" for name in values)
    db.execute(f"CREATE OR REPLACE TEMP TABLE routes AS SELECT {wanted}", values)


def _equal(file: ArrivedFile, columns: Sequence[str]) -> str:
    return " AND ".join(f"{file.source(column)} = s.{column}" for column in columns)


def _cases(value: str, keys: Mapping[str, int]) -> str:
    """Key of a text among few, by parameter; most rows have none, and are answered first."""
    whens = " ".join(f"WHEN ${parameter} THEN {key}" for parameter, key in keys.items())
    return f"CASE WHEN {value} IS NULL THEN NULL::INTEGER ELSE CASE {value} {whens} END END"

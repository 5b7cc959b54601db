"""What the operator can set: read once from the environment, never changed afterwards.

Nothing here can change a life or a verdict; whatever can, sits in the approved
specification.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, get_type_hints

import msgspec
from msgspec import Meta, Struct

from service.errors import OperatorError

ENVIRONMENT_PREFIX = "LOTPROOF_"


class Settings(Struct, frozen=True, kw_only=True):
    """
    The operator's settings; the variable of a field is LOTPROOF_ and its name in capitals.

    `data_directory` is given by ``--data`` where a command has it.
    """

    data_directory: Annotated[
        Path,
        Meta(description="Folder that holds the database, the kept originals and the tokens."),
    ]
    max_body_bytes: Annotated[
        int, Meta(ge=1, description="Largest uploaded file that is taken, in bytes.")
    ] = 2 * 1024**3
    max_upload_rows: Annotated[
        int, Meta(ge=1, description="Most rows that one uploaded table may have.")
    ] = 50_000_000
    max_upload_columns: Annotated[
        int, Meta(ge=1, description="Most columns that one uploaded table may have.")
    ] = 64
    max_string_length: Annotated[
        int, Meta(ge=1, description="Longest text in a cell of an uploaded table, in characters.")
    ] = 200
    memory_limit: Annotated[
        str,
        Meta(
            pattern=r"^[0-9]+(\.[0-9]+)? ?(KB|MB|GB|KiB|MiB|GiB)$",
            description="Memory that the database may use before it spills to disk.",
        ),
    ] = "400MB"
    thread_count: Annotated[
        int, Meta(ge=1, le=1024, description="Threads of the database; default: all cores.")
    ] = os.cpu_count() or 1
    log_level: Annotated[
        str,
        Meta(
            pattern="^(DEBUG|INFO|WARNING|ERROR)$",
            description="Least severe message that is logged: DEBUG, INFO, WARNING or ERROR.",
        ),
    ] = "INFO"


class SettingsError(OperatorError):
    """A setting is unknown or its value is refused."""


def read_settings(
    environment: Mapping[str, str], *, data_directory: Path | None = None
) -> Settings:
    """
    Settings of this process.

    Parameters
    ----------
    environment : mapping of str to str
        Usually ``os.environ``. Variables that do not start with LOTPROOF_ are
        ignored; an unknown one that does is refused, so that a misspelt limit
        cannot silently fall back to its default.
    data_directory : Path, optional, keyword only
        Wins over LOTPROOF_DATA_DIRECTORY.

    Returns
    -------
    Settings

    Raises
    ------
    SettingsError
        If a variable is unknown, a value is refused, or no data directory is
        named.

    Examples
    --------
    >>> read_settings({"LOTPROOF_THREAD_COUNT": "2"}, data_directory=Path("data")).thread_count
    2
    """
    types = get_type_hints(Settings, include_extras=True)
    values: dict[str, Any] = {}
    for variable, text in environment.items():
        if not variable.startswith(ENVIRONMENT_PREFIX):
            continue
        name = variable.removeprefix(ENVIRONMENT_PREFIX).lower()
        if name not in types:
            known = ", ".join(sorted(environment_variables()))
            raise SettingsError(f"{variable} is not a setting; the settings are {known}")
        values[name] = Path(text) if name == "data_directory" else _convert(variable, text, types)
    if data_directory is not None:
        values["data_directory"] = data_directory
    if "data_directory" not in values:
        raise SettingsError("no data directory: give --data DIR or set LOTPROOF_DATA_DIRECTORY")
    return Settings(**values)


def environment_variables() -> dict[str, str]:
    """Name of every setting's environment variable, with what it means."""
    hints = get_type_hints(Settings, include_extras=True)
    return {
        f"{ENVIRONMENT_PREFIX}{name.upper()}": str(hint.__metadata__[0].description)
        for name, hint in hints.items()
    }


def _convert(variable: str, text: str, types: dict[str, Any]) -> Any:
    """Value of one variable, or a refusal that names it."""
    wanted = types[variable.removeprefix(ENVIRONMENT_PREFIX).lower()]
    try:
        return msgspec.convert(text, wanted, strict=False)
    except msgspec.ValidationError as refusal:
        raise SettingsError(f"{variable}={text!r} is refused: {refusal}") from None

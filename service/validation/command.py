"""``lotproof validate``: an installed copy checks itself and signs what it found."""

from __future__ import annotations

import platform
import sys
import tempfile
from collections.abc import Sequence
from datetime import datetime
from importlib import metadata
from pathlib import Path

from msgspec import UNSET, Struct, UnsetType

from analysis.decision import METHOD_VERSION
from analysis.reduction import REDUCTION_VERSION
from schemas.validations import (
    PROTOCOL_FORM,
    PROTOCOL_VERSION,
    InstalledFile,
    KeyOrigin,
    ValidationProtocol,
    ValidationStep,
)
from service.demo.lots import DEMO_LOTS
from service.errors import OperatorError
from service.signing import SigningKey, open_signing_key
from service.validation.installed_files import (
    DISTRIBUTION,
    compare_files,
    digest_of_all,
    digests_of,
    installed_root,
)
from service.validation.protocol import fresh_key, write_protocol
from service.validation.published_cases import compare_cases
from service.validation.step_report import step_of
from service.validation.store_steps import compare_backup, compare_demo_lots, compare_evidence
from service.workflows.clock import Clock, utc_now

_LIBRARIES = (
    "cryptography",
    "duckdb",
    "httptools",
    "jinja2",
    "litestar",
    "msgspec",
    "numpy",
    "pyarrow",
    "reliability",
    "scipy",
    "statsmodels",
    "uvicorn",
    "uvloop",
)


class Asked(Struct, frozen=True, kw_only=True):
    """
    What the operator asked for.

    `data` is the data directory whose key signs; without it a key is made. `out` is a
    new file; without it the name holds the time.
    """

    data: Path | None = None
    out: Path | None = None
    run_by: str | UnsetType = UNSET
    lots: Sequence[str] = DEMO_LOTS


def validate(asked: Asked, clock: Clock = utc_now) -> tuple[ValidationProtocol, Path]:
    """
    Run every step and write the signed protocol, also where a step failed.

    Returns
    -------
    tuple of ValidationProtocol and Path
        What was found, and the file that says so.

    Raises
    ------
    OperatorError
        If the protocol cannot be written, or there is no such data directory.

    Notes
    -----
    The data directory that is named only gives its key: the steps work in a
    temporary one, so that a service may keep running.
    """
    strange = sorted(set(asked.lots) - set(DEMO_LOTS))
    if strange:
        raise OperatorError(f"{strange[0]!r} is no demo lot; there are {', '.join(DEMO_LOTS)}")
    began = clock()
    out = asked.out or Path(f"lotproof-validation-{began:%Y%m%dT%H%M%SZ}.json")
    if out.exists():
        raise OperatorError(f"{out} exists already; a protocol is never written over another.")
    key, origin = _key(asked.data)
    files = digests_of(installed_root())
    steps = _steps(asked.lots, files)
    protocol = _protocol(steps, files, times=(began, clock()), key=(key, origin), asked=asked)
    write_protocol(out, protocol, key)
    return protocol, out


def _steps(lots: Sequence[str], files: list[InstalledFile]) -> list[ValidationStep]:
    chosen = [number for number in DEMO_LOTS if number in lots]
    with tempfile.TemporaryDirectory(prefix="lotproof-validation-") as temporary:
        folder = Path(temporary)
        return [
            step_of("installed files", lambda: compare_files(installed_root(), files)),
            step_of("published cases", compare_cases),
            step_of("demo lots", lambda: compare_demo_lots(folder, chosen)),
            step_of("evidence pack", lambda: compare_evidence(folder)),
            step_of("backup", lambda: compare_backup(folder)),
        ]


def _key(data: Path | None) -> tuple[SigningKey, KeyOrigin]:
    if data is None:
        return fresh_key(), "made for this protocol"
    if not data.is_dir():
        raise OperatorError(f"there is no data directory {data}")
    return open_signing_key(data), "data directory"


def _protocol(
    steps: list[ValidationStep],
    files: list[InstalledFile],
    *,
    times: tuple[datetime, datetime],
    key: tuple[SigningKey, KeyOrigin],
    asked: Asked,
) -> ValidationProtocol:
    return ValidationProtocol(
        form=PROTOCOL_FORM,
        version=PROTOCOL_VERSION,
        passed=all(step.passed for step in steps),
        started_at=times[0],
        ended_at=times[1],
        software=f"{DISTRIBUTION} {_version(DISTRIBUTION)}",
        method_version=METHOD_VERSION,
        reduction_version=REDUCTION_VERSION,
        python=sys.version,
        platform=platform.platform(),
        libraries={name: _version(name) for name in _LIBRARIES},
        installed_in=str(installed_root()),
        signed_with=key[0].public.key_id,
        key_origin=key[1],
        run_by=asked.run_by,
        steps=steps,
        files_sha256=digest_of_all(files),
        files=files,
    )


def _version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return "not installed"

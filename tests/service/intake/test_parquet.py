"""What the footer of a file tells, and what is refused before a value is read."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest
from bad_files import BAD_FILES, BadFile
from msgspec.structs import replace
from parquet_files import cycle_columns, life_columns, parquet_bytes
from uploads_by_hand import LIMITS

from schemas.profiles import TableLimits
from service.errors import UploadRefused
from service.intake import columns, parquet
from service.intake.parquet import read_profile

BEFORE_A_VALUE = {
    "NOT_PARQUET",
    "PARQUET_ENCRYPTED",
    "NO_ROWS",
    "TOO_MANY_ROWS",
    "TOO_MANY_COLUMNS",
    "EXPANDS_TOO_FAR",
    "COLUMN_REPEATED",
    "COLUMN_MISSING",
    "UNKNOWN_COLUMN",
    "TYPE_NOT_ALLOWED",
    "PRESSURE_UNIT_NOT_STATED",
    "PRESSURE_UNIT_AMBIGUOUS",
    "TIMESTAMP_WITHOUT_ZONE",
}
REFUSED_HERE = {name: bad for name, bad in BAD_FILES.items() if bad.code in BEFORE_A_VALUE}


def profile_of(path: Path, body: bytes, limits: TableLimits = LIMITS) -> object:
    path.write_bytes(body)
    return read_profile(path, limits)


@pytest.mark.parametrize("bad", REFUSED_HERE.values(), ids=REFUSED_HERE.keys())
def test_what_the_footer_shows_is_refused_before_a_value_is_read(
    tmp_path: Path, bad: BadFile
) -> None:
    with pytest.raises(UploadRefused) as refused:
        profile_of(tmp_path / "a.parquet", bad.make(), replace(LIMITS, **bad.limits))
    finding = refused.value.findings[0]
    assert (finding.code, finding.column) == (bad.code, bad.column)


def test_no_refusal_names_the_file(tmp_path: Path) -> None:
    for bad in REFUSED_HERE.values():
        with pytest.raises(UploadRefused) as refused:
            profile_of(tmp_path / "secret.parquet", bad.make(), replace(LIMITS, **bad.limits))
        assert "secret" not in str(refused.value)


def test_a_cycle_table_is_described(tmp_path: Path) -> None:
    profile = profile_of(tmp_path / "a.parquet", parquet_bytes(cycle_columns(30)))
    assert (profile.table, profile.row_count) == ("CYCLES", 30)  # type: ignore[attr-defined]


def test_a_lives_table_is_described(tmp_path: Path) -> None:
    profile = profile_of(tmp_path / "a.parquet", parquet_bytes(life_columns()))
    assert (profile.table, profile.row_count) == ("LIVES", 3)  # type: ignore[attr-defined]


def test_limits_include_their_value(tmp_path: Path) -> None:
    limits = replace(LIMITS, max_rows=30, max_columns=8)
    profile_of(tmp_path / "a.parquet", parquet_bytes(cycle_columns(30)), limits)
    for tighter in (replace(limits, max_rows=29), replace(limits, max_columns=7)):
        with pytest.raises(UploadRefused):
            profile_of(tmp_path / "a.parquet", parquet_bytes(cycle_columns(30)), tighter)


def test_nothing_here_asks_for_the_details_of_a_column_chunk() -> None:
    # On a file with an encrypted column these end the process: not an exception, an abort.
    forbidden = {"column", "statistics", "to_dict", "is_stats_set", "dataset"}
    for module in (parquet, columns):
        source = Path(str(module.__file__)).read_text(encoding="utf-8")
        called = {
            node.attr for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Attribute)
        }
        assert called & forbidden == set()


def test_damaged_files_never_end_the_process(tmp_path: Path) -> None:
    program = """
import random, sys
from pathlib import Path
from parquet_files import cycle_columns, encrypted_bytes, parquet_bytes
from uploads_by_hand import LIMITS
from service.errors import UploadRefused
from service.intake.parquet import read_profile
path = Path(sys.argv[1])
good = [
    parquet_bytes(cycle_columns()),
    encrypted_bytes(cycle_columns(), names=["run_id"], plaintext_footer=True),
]
for seed in range(600):
    chance = random.Random(seed)
    body = bytearray(chance.choice(good))
    for _ in range(chance.choice([1, 3, 30])):
        body[chance.randrange(4, len(body))] = chance.randrange(256)
    path.write_bytes(body)
    try:
        read_profile(path, LIMITS)
    except UploadRefused:
        pass
"""
    finished = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path / "a.parquet")],
        capture_output=True,
        text=True,
        check=False,
        env={"PYTHONPATH": ":".join(sys.path)},
    )
    assert (finished.returncode, finished.stderr) == (0, "")

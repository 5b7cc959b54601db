"""Every kind of bad body: refused with its own code and a remedy, and nothing else happens."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from bad_files import BAD_FILES, BadFile
from httpx import Response
from parquet_files import cycle_columns, life_columns, parquet_bytes
from service_client import ServiceClient, running_service
from uploads_by_hand import fact_counts, rows_of

from schemas.problems import MAX_ROWS_NAMED
from service.storage.store import Store

MOST_ROWS = 2_000_000
MOST_BYTES = 4_000_000
INSTRUCTION = re.compile(
    r"\b(add|begin|correct|fill|give|keep|leave|must|name|needs?|number|rename|send|shorten|take"
    r"|write)\b",
    re.IGNORECASE,
)
"""A remedy tells the sender what to do, or what must hold."""
SECRETS = re.compile(r"duckdb|pyarrow|traceback|\.py\b|select |spool|originals", re.IGNORECASE)


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServiceClient]:
    """A service with something in it, and limits that small files can break."""
    folder = tmp_path_factory.mktemp("refusals") / "data"
    with running_service(folder, max_upload_rows=MOST_ROWS, max_body_bytes=MOST_BYTES) as client:
        client.upload(parquet_bytes(cycle_columns(5, run_id=pa.array(["another run"] * 5))))
        client.upload(parquet_bytes(life_columns(lot_number=pa.array(["CC25-0116"] * 3))))
        yield client


def store_of(service: ServiceClient) -> Store:
    """The store of the running service: what is in it cannot be seen through HTTP alone."""
    store: Store = service.http.app.state.workflows._store
    return store


def everything(service: ServiceClient) -> dict[str, Any]:
    """What a refused body must leave as it was: rows of every table, and files."""
    store = store_of(service)
    return {
        "tables": fact_counts(store),
        "kept answers": rows_of(store, "SELECT * FROM lot_evaluations ORDER BY ALL"),
        "spool": files_in(store.spool_folder),
        "originals": files_in(store.originals_folder),
    }


def files_in(folder: Path) -> list[tuple[str, int]]:
    return sorted(
        (str(path.relative_to(folder)), path.stat().st_size if path.is_file() else -1)
        for path in folder.rglob("*")
    )


def post_bad(service: ServiceClient, send: Callable[[], Response]) -> dict[str, Any]:
    """First fault of the answer, after a look at all that holds for every refusal."""
    before = everything(service)
    answer = send()
    assert 400 <= answer.status_code < 500, f"{answer.status_code}: {answer.text}"
    assert answer.headers["content-type"] == "application/problem+json"
    body = answer.json()
    assert body["status"] == answer.status_code
    for said in (body, *body["errors"]):
        assert INSTRUCTION.search(said["detail"]), said["detail"]
    for error in body["errors"]:
        assert re.fullmatch(r"[A-Z][A-Z0-9_]+", error["code"])
        rows = error.get("rows", [])
        assert len(rows) <= min(MAX_ROWS_NAMED, error.get("row_count", MAX_ROWS_NAMED))
        assert all(row >= 1 for row in rows)
    told = " ".join([body["detail"], *(error["detail"] for error in body["errors"])])
    assert str(service.data_directory) not in answer.text and not SECRETS.search(told), told
    assert everything(service) == before
    assert before["spool"] == []
    assert service.get("/readyz").status_code == 200
    return dict(body["errors"][0])


# Too many rows takes more rows here than the corpus has, since one service serves every body.
TABLES = {name: bad for name, bad in BAD_FILES.items() if not bad.limits}


@pytest.mark.parametrize("bad", TABLES.values(), ids=TABLES)
def test_a_bad_table_is_refused_and_changes_nothing(service: ServiceClient, bad: BadFile) -> None:
    body = bad.make()
    fault = post_bad(service, lambda: service.post_upload(body))
    assert (fault["code"], fault.get("column")) == (bad.code, bad.column)


def test_a_table_with_too_many_rows_is_refused(service: ServiceClient) -> None:
    # All values are good: one row, over and over.
    first = pa.array(np.zeros(MOST_ROWS + 1, np.int8))
    columns = {name: values.take(first) for name, values in cycle_columns(1).items()}
    body = parquet_bytes(columns, compression="zstd")
    assert len(body) < MOST_BYTES
    fault = post_bad(service, lambda: service.post_upload(body))
    assert fault["code"] == "TOO_MANY_ROWS"


def test_a_body_over_the_limit_is_refused_whether_or_not_its_length_is_stated(
    service: ServiceClient,
) -> None:
    body = bytes(MOST_BYTES + 1)
    fault = post_bad(service, lambda: service.post_upload(body))
    assert fault["code"] == "BODY_TOO_LARGE"

    def pieces() -> Iterator[bytes]:
        for start in range(0, len(body), 500_000):
            yield body[start : start + 500_000]

    fault = post_bad(service, lambda: service.post_upload(pieces()))  # type: ignore[arg-type]
    assert fault["code"] == "BODY_TOO_LARGE"


@pytest.mark.parametrize(
    "media_type",
    ["text/csv", "application/json", "application/octet-stream", "application/zip", "nonsense"],
)
def test_another_media_type_is_refused_whatever_the_body_is(
    service: ServiceClient, media_type: str
) -> None:
    body = parquet_bytes(cycle_columns())
    fault = post_bad(service, lambda: service.post_upload(body, **{"Content-Type": media_type}))
    assert fault["code"] == "MEDIA_TYPE"


def test_a_content_encoding_is_refused(service: ServiceClient) -> None:
    body = parquet_bytes(cycle_columns())
    fault = post_bad(service, lambda: service.post_upload(body, **{"Content-Encoding": "gzip"}))
    assert fault["code"] == "CONTENT_ENCODING"


def _digest(body: bytes) -> str:
    return f"sha-256=:{base64.b64encode(hashlib.sha256(body).digest()).decode()}:"


@pytest.mark.parametrize(
    ("header", "code"),
    [
        (_digest(b"another file"), "DIGEST_MISMATCH"),
        ("sha-256=:AAAA:", None),
        ("sha-256=abc", None),
        ("md5=:AAAA:", None),
    ],
)
def test_a_digest_that_does_not_fit_is_refused(
    service: ServiceClient, header: str, code: str | None
) -> None:
    body = parquet_bytes(cycle_columns())
    fault = post_bad(service, lambda: service.post_upload(body, **{"Content-Digest": header}))
    assert fault["parameter"] == "Content-Digest"
    assert code in (None, fault["code"])


def test_an_unknown_column_is_answered_with_the_nearest_known_name(service: ServiceClient) -> None:
    body = BAD_FILES["unknown column"].make()
    fault = post_bad(service, lambda: service.post_upload(body))
    assert (fault["column"], fault["suggestion"]) == ("presure_low_bar", "pressure_low_bar")


@pytest.mark.parametrize("cut_at", [4, 5, 11, 12, 100, 1_000, -1_000, -500, -9, -8, -4, -1])
def test_a_file_cut_anywhere_is_refused(service: ServiceClient, cut_at: int) -> None:
    body = parquet_bytes(cycle_columns())[:cut_at]
    fault = post_bad(service, lambda: service.post_upload(body))
    assert fault["code"] == "PARQUET_DAMAGED"


def test_several_faults_of_one_table_are_told_at_once(service: ServiceClient) -> None:
    columns = cycle_columns(presure_low_bar=cycle_columns()["pressure_peak_bar"])
    del columns["rig_id"]
    columns["started_at"] = columns["started_at"].cast(pa.timestamp("us"))
    answer = service.post_upload(parquet_bytes(columns))
    told = {(error["code"], error["column"]) for error in answer.json()["errors"]}
    assert told == {
        ("COLUMN_MISSING", "rig_id"),
        ("UNKNOWN_COLUMN", "presure_low_bar"),
        ("TIMESTAMP_WITHOUT_ZONE", "started_at"),
    }


def test_the_page_of_each_kind_of_refusal_says_what_to_do(service: ServiceClient) -> None:
    answers = [
        service.post_upload(b""),
        service.post_upload(bytes(MOST_BYTES + 1)),
        service.post_upload(b"x", **{"Content-Type": "text/csv"}),
    ]
    kinds = {answer.json()["type"]: answer.status_code for answer in answers}
    assert kinds == {
        "/problems/upload-refused": 400,
        "/problems/too-large": 413,
        "/problems/unsupported-media-type": 415,
    }
    for kind in kinds:
        assert service.get(kind).status_code == 200


def test_after_all_refusals_the_service_takes_a_good_table(service: ServiceClient) -> None:
    lists = service.read_all("/v1/uploads"), service.read_all("/v1/lots")
    assert [len(each) for each in lists] == [2, 2]
    answer = service.post_upload(parquet_bytes(cycle_columns()))
    assert (answer.status_code, answer.json()["stored_rows"]) == (201, 20)
    repeat = service.post_upload(parquet_bytes(cycle_columns()))
    assert (repeat.status_code, repeat.json()) == (200, answer.json())
    store = store_of(service)
    assert rows_of(store, "SELECT count(*) FROM cycle_rows") == [(25,)]
    assert files_in(store.spool_folder) == []

"""The columns of a stored cycle are those of the tables."""

import pytest
from uploads_by_hand import rows_of

from service.storage.arrivals_rows import ROW_COLUMNS
from service.storage.store import Store


@pytest.mark.parametrize("table", ["cycle_rows", "conflicting_rows"])
def test_every_column_of_a_table_of_rows_is_written(store: Store, table: str) -> None:
    columns = rows_of(
        store, f"SELECT column_name FROM duckdb_columns() WHERE table_name = '{table}'"
    )
    assert {name for (name,) in columns} == {"upload_key", *ROW_COLUMNS}

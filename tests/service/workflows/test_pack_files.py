"""Packs as files: deterministic, read part by part, refused when they are not whole."""

from pathlib import Path

import pytest

from service.workflows.pack_files import BrokenPack, OpenPack, part_of, part_of_file, write_pack


def test_the_same_parts_give_the_same_bytes(tmp_path: Path) -> None:
    file = tmp_path / "rows.parquet"
    file.write_bytes(b"rows" * 1000)
    for name in ("a.zip", "b.zip"):
        write_pack(tmp_path / name, {"decision.json": b"{}"}, {"uploads/x.parquet": file})
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()


def test_parts_are_measured_as_they_are(tmp_path: Path) -> None:
    file = tmp_path / "rows.parquet"
    file.write_bytes(b"rows" * 1000)
    write_pack(tmp_path / "a.zip", {"decision.json": b"{}"}, {"uploads/x.parquet": file})
    pack = OpenPack(tmp_path / "a.zip")
    assert pack.names == {"decision.json", "uploads/x.parquet"}
    assert pack.measured("decision.json") == part_of("decision.json", b"{}")
    assert pack.measured("uploads/x.parquet") == part_of_file("uploads/x.parquet", file)
    assert pack.read("decision.json") == b"{}"
    with pytest.raises(BrokenPack, match="missing"):
        pack.read("manifest.json")
    pack.close()


def test_a_list_of_parts_that_is_none_is_refused(tmp_path: Path) -> None:
    write_pack(tmp_path / "a.zip", {"manifest.json": b"[]"}, {})
    pack = OpenPack(tmp_path / "a.zip")
    with pytest.raises(BrokenPack, match="cannot be read"):
        pack.manifest()
    pack.close()

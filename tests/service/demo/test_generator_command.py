"""The command writes a lot and says what it wrote."""

from pathlib import Path

import pyarrow.parquet as pq
import pytest

from service.cli import main


def generate(*words: str) -> int:
    return main(["generate", *words])


def test_it_names_every_file_and_the_seed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status = generate("--lot", "L03", "--scale", "0.05", "--out", str(tmp_path))
    said = capsys.readouterr().out
    assert status == 0
    written = sorted(path.name for path in tmp_path.iterdir())
    assert all(str(tmp_path / name) in said for name in written)
    assert {"events.json", "setup.json", "truth.json"} < set(written)
    assert "8 FAILED" in said and "seed 1" in said


def test_rows_make_one_single_file(tmp_path: Path) -> None:
    words = ("--lot", "L01", "--scale", "0.05", "--rows", "9000", "--out", str(tmp_path))
    assert generate(*words) == 0
    (path,) = tmp_path.glob("*.parquet")
    assert pq.ParquetFile(path).metadata.num_rows >= 9_000


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--lot", "L01", "--scale", "0"), "scale must be between"),
        (("--lot", "L01", "--scale", "nan"), "scale must be between"),
        (("--lot", "L01", "--rows", "0"), "--rows must be 1 or more"),
        (("--lot", "L99"), "the lots are L01, L02"),
    ],
)
def test_a_refused_option_is_said_and_nothing_is_written(
    words: tuple[str, ...], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "out"
    assert generate(*words, "--out", str(folder)) == 1
    assert said in capsys.readouterr().err
    assert not folder.exists()

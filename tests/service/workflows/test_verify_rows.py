"""Rows in a pack are reduced again where the pack holds them all."""

import zipfile
from pathlib import Path

from reduction_builders import spec
from stores import FIRST_INSTANT

from schemas.evidence_packs import DecisionEvidence, UploadDigest
from schemas.specs import Spec, SpecVersion
from service.workflows.pack_files import OpenPack
from service.workflows.verify_rows import why_rows_are_not_computed


def evidence(rules: Spec) -> DecisionEvidence:
    version = SpecVersion(
        spec_id="CC25-A",
        version=1,
        state="APPROVED",
        hash="sha256:0",
        spec=rules,
        created_at=FIRST_INSTANT,
        created_by="Test bench",
    )
    upload = UploadDigest(upload_id="up_1", sha256="ab", row_count=5)
    return DecisionEvidence(
        registered=True,
        marks=[],
        spec=version,
        units=[],
        answers={},
        lives=[],
        draws=[],
        is_listed=True,
        uploads=[upload],
        calibrations=[],
        corrections=[],
    )


def test_rows_are_left_out_with_the_reason(tmp_path: Path) -> None:

    for name, held in (("lean.zip", []), ("full.zip", ["uploads/ab.parquet"])):
        with zipfile.ZipFile(tmp_path / name, "w") as pack:
            for part in held:
                pack.writestr(part, b"")
    lean, full = OpenPack(tmp_path / "lean.zip"), OpenPack(tmp_path / "full.zip")
    untouched = evidence(spec())
    assert "does not hold" in str(why_rows_are_not_computed(lean, untouched))
    assert why_rows_are_not_computed(full, untouched) is None
    lean.close()
    full.close()

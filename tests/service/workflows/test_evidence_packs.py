"""Evidence is kept with the verdict: later facts do not change it."""

from pathlib import Path

import pytest

from service.errors import NotFound
from service.signing import open_signing_key
from service.storage.store import Store
from service.workflows.evidence_packs import EvidencePacks

pytestmark = pytest.mark.anyio


async def test_a_decision_that_is_not_there_has_no_evidence(store: Store, tmp_path: Path) -> None:
    packs = EvidencePacks(store, open_signing_key(tmp_path))
    with pytest.raises(NotFound):
        await packs.make("dec_nowhere", with_uploads=False)
    assert [*store.spool_folder.iterdir()] == []


async def test_the_key_is_told(store: Store, tmp_path: Path) -> None:
    key = open_signing_key(tmp_path)
    assert EvidencePacks(store, key).keys().items == [key.public]

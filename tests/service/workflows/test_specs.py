"""Drafts may change, approved versions may not; a repeat adds nothing."""

from typing import Any

import msgspec
import pytest
from bodies import attribute_spec
from stores import StandingClock

from schemas.specs import Spec, SpecApproval
from service.errors import AlreadyExists, InvalidRequest, NotFound, SpecFrozen, StaleVersion
from service.storage.store import Store
from service.tokens import Actor
from service.workflows.specs import Specs

pytestmark = pytest.mark.anyio
APPROVAL = SpecApproval(meaning="approved for test", reason="reviewed")
FIRST = ("CC25-A", 1)


def spec(**changes: Any) -> Spec:
    return msgspec.convert(attribute_spec(**changes), Spec)


@pytest.fixture
def specs(store: Store, clock: StandingClock) -> Specs:
    return Specs(store, clock)


async def test_the_same_draft_again_adds_nothing(specs: Specs, actor: Actor) -> None:
    first, is_new = await specs.create(spec(), actor)
    again, is_new_again = await specs.create(spec(), actor)
    assert (is_new, is_new_again) == (True, False)
    assert again == first


async def test_the_same_id_with_other_content_is_a_clash(specs: Specs, actor: Actor) -> None:
    await specs.create(spec(), actor)
    with pytest.raises(AlreadyExists, match="CC25-A"):
        await specs.create(spec(part="another"), actor)


async def test_a_contradiction_is_refused_and_not_stored(specs: Specs, actor: Actor) -> None:
    with pytest.raises(InvalidRequest) as refusal:
        await specs.create(spec(failure={"modes": attribute_spec()["failure"]["modes"]}), actor)
    assert refusal.value.errors[0].pointer == "/failure/burst_below_mpa"
    assert await specs.summaries(after="", limit=9) == []


async def test_content_that_was_superseded_can_be_drafted_again(specs: Specs, actor: Actor) -> None:
    await specs.create(spec(), actor)
    await specs.approve(FIRST, APPROVAL, actor, hash_seen=None)
    await specs.add_version("CC25-A", spec(part="new"), actor)
    await specs.approve(("CC25-A", 2), APPROVAL, actor, hash_seen=None)
    back, is_new = await specs.add_version("CC25-A", spec(), actor)
    assert (back.version, back.state, is_new) == (3, "DRAFT", True)
    again, is_new = await specs.add_version("CC25-A", spec(), actor)
    assert (again.version, is_new) == (3, False)


async def test_an_approved_version_is_frozen(specs: Specs, actor: Actor) -> None:
    await specs.create(spec(), actor)
    approved = await specs.approve(FIRST, APPROVAL, actor, hash_seen=None)
    assert await specs.approve(FIRST, APPROVAL, actor, hash_seen=None) == approved
    with pytest.raises(SpecFrozen):
        await specs.replace(FIRST, spec(part="x"), actor, hash_seen=None)
    with pytest.raises(SpecFrozen):
        await specs.delete("CC25-A", 1, actor)
    other = SpecApproval(meaning="approved for test", reason="another reason")
    with pytest.raises(SpecFrozen):
        await specs.approve(FIRST, other, actor, hash_seen=None)


async def test_nobody_replaces_or_approves_a_draft_that_has_moved(
    specs: Specs, actor: Actor
) -> None:
    draft, _ = await specs.create(spec(), actor)
    moved = await specs.replace(FIRST, spec(part="x"), actor, hash_seen=draft.hash)
    with pytest.raises(StaleVersion):
        await specs.replace(FIRST, spec(part="y"), actor, hash_seen=draft.hash)
    with pytest.raises(StaleVersion):
        await specs.approve(FIRST, APPROVAL, actor, hash_seen=draft.hash)
    approved = await specs.approve(FIRST, APPROVAL, actor, hash_seen=moved.hash)
    assert approved.spec.part == "x"


async def test_a_plan_that_shows_too_little_is_not_approved(specs: Specs, actor: Actor) -> None:
    plan = {**attribute_spec()["plan"], "unit_count": 5}
    await specs.create(spec(plan=plan), actor)
    with pytest.raises(InvalidRequest, match="6 units are needed"):
        await specs.approve(FIRST, APPROVAL, actor, hash_seen=None)


async def test_settings_that_rules_use_are_named_on_no_answer(specs: Specs, actor: Actor) -> None:
    draft, _ = await specs.create(spec(reduction={"warm_up_cycles": 50}), actor)
    assert draft.settings_not_applied == []
    assert (await specs.find("CC25-A", 1)).settings_not_applied == []
    [listed] = await specs.versions("CC25-A", after=0, limit=9)
    assert listed.settings_not_applied == []


async def test_the_body_must_name_the_specification_of_the_address(
    specs: Specs, actor: Actor
) -> None:
    await specs.create(spec(), actor)
    with pytest.raises(InvalidRequest, match="CC25-B"):
        await specs.add_version("CC25-A", spec(spec_id="CC25-B"), actor)
    with pytest.raises(InvalidRequest, match="CC25-B"):
        await specs.replace(FIRST, spec(spec_id="CC25-B"), actor, hash_seen=None)


async def test_what_is_not_there_is_not_found(specs: Specs, actor: Actor) -> None:
    for asking in (
        specs.find("CC25-A", 1),
        specs.versions("CC25-A", after=0, limit=9),
        specs.add_version("CC25-A", spec(), actor),
        specs.replace(FIRST, spec(), actor, hash_seen=None),
        specs.delete("CC25-A", 1, actor),
        specs.approve(FIRST, APPROVAL, actor, hash_seen=None),
    ):
        with pytest.raises(NotFound):
            await asking

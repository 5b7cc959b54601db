"""A sample is drawn once, recorded with all that repeats it, and reconciled on every answer."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from bodies import lives_table
from lots_by_hand import GOOD, LOT, add_rows, approved, assign, lot_id_of, register, run_rows
from stores import StandingClock
from uploads_by_hand import upload

from analysis.decision.sample_draw import draw_stratum
from schemas.decisions import Evaluation
from schemas.sample_draws import NewDraw, NewSubstitution
from schemas.sample_figures import SampleFigures
from service.errors import AlreadyExists, Conflict, InvalidRequest, NotFound
from service.storage.store import Store
from service.tokens import Actor
from service.workflows.evaluate_lot import evaluate
from service.workflows.sample_draws import SampleDraws

pytestmark = pytest.mark.anyio
NUMBERED = {"prefix": "A-", "first": 1, "last": 30, "digits": 3}


@pytest.fixture
def draws(store: Store, clock: StandingClock) -> SampleDraws:
    register(store)
    return SampleDraws(store, clock)


def new_draw(key: str = "d1", **changes: Any) -> NewDraw:
    stratum = {"unit_count": 4, "spare_count": 2, "numbered": NUMBERED}
    body = {
        "draw_key": key,
        "strata": [stratum],
        "substitution": "NEXT_SPARE_OF_STRATUM",
        "reason": "qualification of the lot",
        "seed": "2026-11-25 17",
        **changes,
    }
    return msgspec.convert(body, NewDraw)


def evaluation(store: Store) -> Evaluation:
    lot_id = lot_id_of(store)
    return store.read_now(lambda db: evaluate(db, lot_id))


def sample(store: Store) -> SampleFigures:
    found = evaluation(store).sample
    assert isinstance(found, SampleFigures)
    counted = found.tested_count + found.not_started_count + len(found.excluded)
    assert found.drawn_count + found.substituted_count == counted
    return found


def life(serial: str, ending: str = "RUN_OUT", cycles: int = 1_000) -> dict[str, Any]:
    return {"lot_number": LOT, "unit_serial": serial, "ending": ending, "cycles": cycles}


async def test_drawn_units_become_the_sample_and_are_reconciled(
    store: Store, draws: SampleDraws, actor: Actor
) -> None:
    key_before = evaluation(store).provenance.evaluation_key
    made, is_new = await draws.draw(lot_id_of(store), new_draw(), actor)
    [stratum] = made.strata
    population = [f"A-{number:03}" for number in range(1, 31)]
    again = draw_stratum(
        population, seed="2026-11-25 17", stratum=None, unit_count=4, spare_count=2
    )
    assert (is_new, stratum) == (True, again)
    assert (made.seed_source, made.population_count, made.after_first_row) == ("GIVEN", 30, False)
    figures = sample(store)
    assert (figures.basis, figures.drawn_count, figures.not_started_count) == ("DRAWN", 4, 4)
    assert (figures.spares_left, figures.draw_keys) == (stratum.spares, ["d1"])
    assert evaluation(store).provenance.evaluation_key != key_before
    add_rows(store, run_rows(stratum.drawn[0], "run-1", [GOOD] * 3))
    add_rows(store, run_rows("X-1", "run-2", [GOOD] * 3, hour=3))
    figures = sample(store)
    assert (figures.tested_count, figures.not_started_count) == (1, 3)
    assert figures.outside_serials == ["X-1"]


async def test_a_void_unit_is_replaced_by_the_next_spare_within_the_places_of_the_plan(
    store: Store, draws: SampleDraws, actor: Actor
) -> None:
    plan = {
        "kind": "ATTRIBUTE",
        "unit_count": 4,
        "max_units": 5,
        "planned_cycles": 1_000,
        "allowed_failures": 0,
        "overdue_hours": 48.0,
    }
    assign(store, approved(store, plan=plan))
    lot_id = lot_id_of(store)
    made, _ = await draws.draw(lot_id, new_draw(), actor)
    [stratum] = made.strata
    first, second = stratum.drawn[:2]
    upload(store, lives_table([life(first, "VOID", 10), life(second)]))
    figures = sample(store)
    assert [each.unit_serial for each in figures.excluded] == [first]
    body = NewSubstitution(void_serial=first, reason="over-pressure at cycle 10")
    with pytest.raises(Conflict, match="only a void unit"):
        other = NewSubstitution(void_serial=second, reason="slow")
        await draws.substitute(lot_id, "d1", other, actor)
    with pytest.raises(Conflict) as refusal:
        await draws.substitute(lot_id, "d1", NewSubstitution(void_serial="X", reason="x"), actor)
    assert refusal.value.code == "NOT_IN_DRAW"
    changed, is_new = await draws.substitute(lot_id, "d1", body, actor)
    assert (is_new, changed.substitutions[0].spare_serial) == (True, stratum.spares[0])
    assert await draws.substitute(lot_id, "d1", body, actor) == (changed, False)
    assert await draws.find(lot_id, "d1") == changed
    figures = sample(store)
    assert (figures.drawn_count, figures.substituted_count) == (4, 1)
    assert (figures.tested_count, figures.not_started_count) == (1, 3)
    assert figures.excluded[0].substituted_by == stratum.spares[0]
    assert figures.spares_left == stratum.spares[1:]
    # The spare turns out void too; the plan has no place left for another.
    upload(store, lives_table([life(stratum.spares[0], "VOID", 5)]))
    third = NewSubstitution(void_serial=stratum.spares[0], reason="seal cut")
    with pytest.raises(Conflict) as refusal:
        await draws.substitute(lot_id, "d1", third, actor)
    assert refusal.value.code == "MAX_UNITS_REACHED"
    with pytest.raises(AlreadyExists):
        wrong = NewSubstitution(void_serial=first, reason="another reason")
        await draws.substitute(lot_id, "d1", wrong, actor)


async def test_strata_are_drawn_apart_and_name_the_batch_of_their_units(
    store: Store, draws: SampleDraws, actor: Actor
) -> None:
    strata = [
        {"component_batch": "B-1", "unit_count": 3, "spare_count": 0, "numbered": NUMBERED},
        {
            "component_batch": "B-2",
            "unit_count": 2,
            "spare_count": 1,
            "serials": ["Z1", "Z2", "Z3"],
        },
    ]
    made, _ = await draws.draw(lot_id_of(store), new_draw(strata=strata), actor)
    first, second = made.strata
    assert sorted(second.drawn + second.spares) == ["Z1", "Z2", "Z3"]
    batches = {line.unit_serial: line.component_batch for line in evaluation(store).units}
    assert batches == {
        **dict.fromkeys(first.drawn, "B-1"),
        **dict.fromkeys(second.drawn, "B-2"),
    }


async def test_a_seed_that_nobody_gave_is_made_and_recorded(
    store: Store, draws: SampleDraws, actor: Actor
) -> None:
    lot_id = lot_id_of(store)
    made, _ = await draws.draw(lot_id, new_draw(seed=None), actor)
    assert (made.seed_source, len(made.seed)) == ("SERVICE", 32)
    repeat, is_new = await draws.draw(lot_id, new_draw(seed=None), actor)
    assert (repeat, is_new) == (made, False)
    assert [each for _, each in await draws.of_lot(lot_id, after=0, limit=9)] == [made]


async def test_a_unit_is_drawn_once_and_a_key_means_one_draw(
    store: Store, draws: SampleDraws, actor: Actor
) -> None:
    lot_id = lot_id_of(store)
    await draws.draw(lot_id, new_draw(), actor)
    with pytest.raises(AlreadyExists):
        await draws.draw(lot_id, new_draw(seed="another"), actor)
    with pytest.raises(Conflict) as refusal:
        await draws.draw(lot_id, new_draw("d2"), actor)
    assert refusal.value.code == "ALREADY_SAMPLED"
    with pytest.raises(NotFound):
        await draws.find(lot_id, "d9")


@pytest.mark.parametrize(
    ("stratum", "code"),
    [
        ({"unit_count": 40, "spare_count": 0, "numbered": NUMBERED}, "POPULATION_TOO_SMALL"),
        ({"unit_count": 1, "spare_count": 0}, "CONTRADICTION"),
        (
            {"unit_count": 1, "spare_count": 0, "serials": ["1"], "numbered": NUMBERED},
            "CONTRADICTION",
        ),
        ({"unit_count": 1, "spare_count": 0, "serials": ["1", "1"]}, "REPEATED"),
        ({"unit_count": 1, "spare_count": 0, "numbered": {"first": 3, "last": 2}}, "CONTRADICTION"),
        (
            {"unit_count": 1, "spare_count": 0, "numbered": {"first": 0, "last": 10**9}},
            "OUTSIDE_RANGE",
        ),
    ],
)
async def test_a_population_that_cannot_be_drawn_from_is_refused(
    store: Store, draws: SampleDraws, actor: Actor, stratum: dict[str, Any], code: str
) -> None:
    with pytest.raises(InvalidRequest) as refusal:
        await draws.draw(lot_id_of(store), new_draw(strata=[stratum]), actor)
    assert [fault.code for fault in refusal.value.errors] == [code]

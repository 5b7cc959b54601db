"""Drawing a lot's sample, and putting spares in the place of void units."""

from __future__ import annotations

import secrets
from collections import Counter
from collections.abc import Iterator, Sequence

from msgspec import UNSET

from analysis.decision.sample_draw import draw_stratum, population_sha256, serials_of
from schemas.lots import Lot, NewUnit
from schemas.problems import MAX_ROWS_NAMED, ProblemError
from schemas.sample_draws import (
    MOST_IN_POPULATION,
    DrawnStratum,
    NewDraw,
    NewStratum,
    NewSubstitution,
    SampleDraw,
)
from service.errors import AlreadyExists, Conflict, InvalidRequest, NotFound
from service.storage import lots, sample_draws, units
from service.storage.facts import Stamp
from service.storage.store import Cursor, Store
from service.tokens import Actor
from service.workflows.clock import Clock, stamp_of
from service.workflows.reduce_lot import lives_of, read_lot

_SEED_BYTES = 16


class SampleDraws:
    """
    What can be done about how a lot's sample is drawn.

    Where a method gives a pair, the second value says whether anything was added.
    """

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock

    async def draw(self, lot_id: str, body: NewDraw, actor: Actor) -> tuple[SampleDraw, bool]:
        """
        Draw units and spares, record how, and list the units as the lot's sample.

        Raises
        ------
        InvalidRequest
            If a stratum is told twice over, too large, or smaller than what is drawn.
        NotFound
            If there is no such lot.
        AlreadyExists
            If the lot has used the key for another draw.
        Conflict
            ALREADY_SAMPLED if the population holds units of the sample or earlier spares.
        """
        strata = _populations(body)
        stamp = stamp_of(self._clock, actor)
        seed = body.seed or secrets.token_hex(_SEED_BYTES)

        def change(db: Cursor) -> tuple[SampleDraw, bool]:
            lot_key = lots.lot_key_of(db, lot_id)
            asked = sample_draws.find_request(db, lot_key, body.draw_key)
            if asked is not None:
                if asked != (body, stamp.by):
                    raise AlreadyExists("draw", body.draw_key)
                return _draw_of(db, lot_key, body.draw_key), False
            _refuse_sampled(db, lot_key, strata)
            made = _drawn(lots.find_lot(db, lot_key), body, strata, seed, stamp)
            sample_draws.add_draw(db, lot_key, body, made, stamp)
            units.add_to_sample(db, lot_key, list(_new_units(made.strata)), stamp)
            return made, True

        return await self._store.write(change)

    async def of_lot(self, lot_id: str, *, after: int, limit: int) -> list[tuple[int, SampleDraw]]:
        """
        Draws of a lot, oldest first, with their place.

        Raises
        ------
        NotFound
            If there is no such lot.
        """

        def question(db: Cursor) -> list[tuple[int, SampleDraw]]:
            lot_key = lots.lot_key_of(db, lot_id)
            return sample_draws.list_draws(db, lot_key, after=after, limit=limit)

        return await self._store.read(question)

    async def find(self, lot_id: str, draw_key: str) -> SampleDraw:
        """
        One draw of a lot.

        Raises
        ------
        NotFound
            If there is no such lot or draw.
        """
        return await self._store.read(
            lambda db: _draw_of(db, lots.lot_key_of(db, lot_id), draw_key)
        )

    async def substitute(
        self, lot_id: str, draw_key: str, body: NewSubstitution, actor: Actor
    ) -> tuple[SampleDraw, bool]:
        """
        Put the next spare in the place of a void unit, by the draw's rule.

        Raises
        ------
        NotFound
            If there is no such lot or draw.
        AlreadyExists
            If the unit has a substitute already, recorded for another reason.
        Conflict
            NOT_IN_DRAW, UNIT_NOT_VOID, NO_SUBSTITUTION, NO_SPARE_LEFT, or MAX_UNITS_REACHED.
        """
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> tuple[SampleDraw, bool]:
            lot_key = lots.lot_key_of(db, lot_id)
            draw = _draw_of(db, lot_key, draw_key)
            known = [each for each in draw.substitutions if each.void_serial == body.void_serial]
            if known:
                if (known[0].reason, known[0].recorded_by) != (body.reason, stamp.by):
                    raise AlreadyExists("substitution of unit", body.void_serial)
                return draw, False
            stratum, spare = _next_spare(draw, body.void_serial)
            _check_place(db, lot_id, lot_key, body.void_serial)
            sample_draws.add_substitution(db, (lot_key, draw_key), body, spare, stamp)
            units.add_to_sample(db, lot_key, [_new_unit(stratum, spare)], stamp)
            return _draw_of(db, lot_key, draw_key), True

        return await self._store.write(change)


def _draw_of(db: Cursor, lot_key: int, draw_key: str) -> SampleDraw:
    found = [each for each in sample_draws.draws_of_lot(db, lot_key) if each.draw_key == draw_key]
    if not found:
        raise NotFound("draw", draw_key)
    return found[0]


def _populations(body: NewDraw) -> list[tuple[NewStratum, list[str]]]:
    """Each stratum with its serials; every fault of the body at once."""
    faults: list[ProblemError] = []
    strata: list[tuple[NewStratum, list[str]]] = []
    for number, stratum in enumerate(body.strata):
        said = _fault_of(stratum)
        if said is not None:
            faults.append(_fault(*said, f"/strata/{number}"))
            continue
        serials = stratum.serials
        if serials is None:
            assert stratum.numbered is not None  # one of the two is given
            serials = serials_of(stratum.numbered)
        strata.append((stratum, serials))
        if stratum.unit_count + stratum.spare_count > len(serials):
            said_small = f"More is to be drawn than the {len(serials)} units that are there."
            faults.append(_fault("POPULATION_TOO_SMALL", said_small, f"/strata/{number}"))
    faults += _repeated(strata)
    if faults:
        raise InvalidRequest(faults)
    return strata


def _fault_of(stratum: NewStratum) -> tuple[str, str] | None:
    """What is wrong with how a stratum tells its population."""
    numbered = stratum.numbered
    if (stratum.serials is None) == (numbered is None):
        return "CONTRADICTION", "State the population by serials or as numbered, not both."
    if numbered is None:
        return None
    if numbered.last < numbered.first:
        return "CONTRADICTION", "The last number is below the first."
    if numbered.last - numbered.first >= MOST_IN_POPULATION:
        return "OUTSIDE_RANGE", f"A stratum holds at most {MOST_IN_POPULATION} units."
    return None


def _repeated(strata: Sequence[tuple[NewStratum, list[str]]]) -> list[ProblemError]:
    batches = Counter(stratum.component_batch for stratum, _ in strata)
    faults = []
    if any(count > 1 for count in batches.values()):
        said = "A component batch is one stratum; it is told twice."
        faults.append(_fault("REPEATED", said, "/strata"))
    counts = Counter(serial for _, serials in strata for serial in serials)
    twice = [serial for serial, count in counts.items() if count > 1]
    if twice:
        said = f"Serials stand in the population more than once: {_few(twice)}."
        faults.append(_fault("REPEATED", said, "/strata"))
    return faults


def _fault(code: str, detail: str, pointer: str) -> ProblemError:
    return ProblemError(code=code, detail=detail, pointer=pointer)


def _few(serials: Sequence[str]) -> str:
    more = len(serials) - MAX_ROWS_NAMED
    named = ", ".join(serials[:MAX_ROWS_NAMED])
    return named if more <= 0 else f"{named} and {more} more"


def _refuse_sampled(
    db: Cursor, lot_key: int, strata: Sequence[tuple[NewStratum, list[str]]]
) -> None:
    """A unit is drawn once: whoever is in the sample, or waits as a spare, is no population."""
    population = [serial for _, serials in strata for serial in serials]
    earlier = sample_draws.draws_of_lot(db, lot_key)
    waiting = {s for draw in earlier for stratum in draw.strata for s in stratum.spares}
    taken = sorted({*sample_draws.listed_among(db, lot_key, population), *waiting} & {*population})
    if taken:
        raise Conflict(
            "ALREADY_SAMPLED",
            f"Units of the population are in the sample or are spares already: {_few(taken)}. "
            "Leave them out.",
        )


def _drawn(
    lot: Lot,
    body: NewDraw,
    strata: Sequence[tuple[NewStratum, list[str]]],
    seed: str,
    stamp: Stamp,
) -> SampleDraw:
    told = [(stratum.component_batch or "", serials) for stratum, serials in strata]
    drawn = [
        draw_stratum(
            serials,
            seed=seed,
            stratum=stratum.component_batch,
            unit_count=stratum.unit_count,
            spare_count=stratum.spare_count,
        )
        for stratum, serials in strata
    ]
    return SampleDraw(
        draw_key=body.draw_key,
        lot_id=lot.lot_id,
        lot_number=lot.lot_number,
        algorithm="SHA256_ORDER",
        seed=seed,
        seed_source="SERVICE" if body.seed is None else "GIVEN",
        population_count=sum(len(serials) for _, serials in strata),
        population_sha256=population_sha256(told),
        substitution=body.substitution,
        strata=drawn,
        reason=body.reason,
        after_first_row=lot.first_row_at is not UNSET,
        recorded_at=stamp.at,
        recorded_by=stamp.by,
        substitutions=[],
    )


def _new_units(strata: Sequence[DrawnStratum]) -> Iterator[NewUnit]:
    for stratum in strata:
        for serial in stratum.drawn:
            yield _new_unit(stratum, serial)


def _new_unit(stratum: DrawnStratum, serial: str) -> NewUnit:
    batch = stratum.component_batch
    return NewUnit(unit_serial=serial, component_batch=None if batch is UNSET else batch)


def _next_spare(draw: SampleDraw, void_serial: str) -> tuple[DrawnStratum, str]:
    """The stratum of a void unit and the spare whose turn it is."""
    if draw.substitution == "NO_SUBSTITUTION":
        raise Conflict("NO_SUBSTITUTION", "This draw's rule is that no unit is substituted.")
    used = {each.spare_serial for each in draw.substitutions}
    for stratum in draw.strata:
        if void_serial in stratum.drawn or void_serial in used & {*stratum.spares}:
            left = [serial for serial in stratum.spares if serial not in used]
            if not left:
                raise Conflict("NO_SPARE_LEFT", "No spare of the unit's stratum is left.")
            return stratum, left[0]
    raise Conflict("NOT_IN_DRAW", f"Unit {void_serial!r} was not drawn in this draw.")


def _check_place(db: Cursor, lot_id: str, lot_key: int, void_serial: str) -> None:
    """The unit must be void as things stand, and the plan must have room for one unit more."""
    reading = read_lot(db, lot_id)
    endings = {life.unit_serial: life.ending for life in lives_of(db, reading, keep=True)}
    if endings.get(void_serial) != "VOID":
        raise Conflict(
            "UNIT_NOT_VOID",
            f"Unit {void_serial!r} is {endings.get(void_serial)}; only a void unit is substituted. "
            "Decide its open holds first.",
        )
    if reading.version is None:
        return
    places = reading.spec.plan.places
    if sample_draws.listed_count(db, lot_key) >= places:
        raise Conflict(
            "MAX_UNITS_REACHED",
            f"The approved plan takes at most {places} units, void ones included; a spare beyond "
            "them would earn nothing.",
        )

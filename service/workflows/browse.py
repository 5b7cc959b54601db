"""Looking: at units and their lives, and at the verdict on a lot. Nothing is recorded."""

from __future__ import annotations

from msgspec import structs

from schemas.decisions import Evaluation
from schemas.lives import UnitLife
from schemas.lots import Unit
from schemas.trends import UnitTrend
from schemas.unit_rows import PlacedCycle, RowPlace, StartRange
from service.errors import NotFound
from service.storage import unit_rows, units
from service.storage.lots import lot_key_of
from service.storage.store import Cursor, Store
from service.workflows.changes_of_rows import changes_of_unit
from service.workflows.evaluate_lot import evaluate, is_kept
from service.workflows.keep_current import keep_current
from service.workflows.reduce_lot import lives_of, read_lot
from service.workflows.unit_trend import read_trend


class Units:
    """What can be read about units."""

    def __init__(self, store: Store) -> None:
        self._store = store

    async def find(self, unit_id: str) -> Unit:
        """
        One unit.

        Raises
        ------
        NotFound
            If there is no such unit.
        """

        def question(db: Cursor) -> Unit:
            unit = units.find_unit(db, unit_id).unit
            changes = changes_of_unit(db, unit)
            return structs.replace(unit, changes=changes) if changes else unit

        return await self._store.read(question)

    async def life(self, unit_id: str) -> UnitLife:
        """
        Life of a unit under its lot's current specification.

        Raises
        ------
        NotFound
            If there is no such unit, or all that named it was withdrawn or belongs to another.
        """

        def question(db: Cursor) -> UnitLife:
            lot_id = units.find_unit(db, unit_id).unit.lot_id
            lives = lives_of(db, read_lot(db, lot_id), keep=False)
            found = [life for life in lives if life.unit_id == unit_id]
            if not found:
                raise NotFound("life of unit", unit_id)
            return found[0]

        return await self._store.read(question)

    async def trend(self, unit_id: str, most_points: int | None) -> UnitTrend:
        """
        Trend of a unit, with at most so many points.

        Raises
        ------
        NotFound
            If there is no such unit.
        """
        return await self._store.read(lambda db: read_trend(db, unit_id, most_points))

    async def cycles(
        self, unit_id: str, started: StartRange, *, after: RowPlace, limit: int
    ) -> list[PlacedCycle]:
        """
        Rows of a unit as they were uploaded, in the order in which its cycles started.

        Raises
        ------
        NotFound
            If there is no such unit.
        """

        def question(db: Cursor) -> list[PlacedCycle]:
            unit_key = units.find_unit(db, unit_id).unit_key
            return unit_rows.rows_of_unit(db, unit_key, started, after=after, limit=limit)

        return await self._store.read(question)


class Evaluations:
    """What can be said about lots now."""

    def __init__(self, store: Store) -> None:
        self._store = store

    async def read(self, lot_id: str, spec: str | None) -> Evaluation:
        """
        Verdict on a lot as it stands.

        Parameters
        ----------
        lot_id : str
        spec : str or None
            Another specification for a what-if, as ``SPEC_ID`` or
            ``SPEC_ID:VERSION``; None for the lot's current one.

        Raises
        ------
        NotFound
            If there is no such lot or no such specification.
        """

        def question(db: Cursor) -> tuple[Evaluation, bool]:
            is_known = spec is not None or is_kept(db, lot_id)
            return evaluate(db, lot_id, spec), is_known

        evaluation, is_known = await self._store.read(question)
        if not is_known and not self._store.is_writing:
            # Kept for the next look; while an upload is written, looks go on without waiting.
            lot_key = await self._store.read(lambda db: lot_key_of(db, lot_id))
            await keep_current(self._store, [lot_key])
        return evaluation

"""Blocks of counted cycles, by the stage-one texts for them: read only where they are asked for."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from msgspec import Struct

from service.storage.stage_one_results import VARIANTS
from service.storage.summaries import StageOne

_KEEP_CHUNKS = "CREATE OR REPLACE TEMP TABLE block_chunks AS "


class BlocksAsked(Struct, frozen=True, kw_only=True):
    """
    Which blocks to read.

    `conflicting` stretches have rows with other values, `falling` ones a clock that says
    another order than the counter: both are read in more than one way.
    """

    stretch_keys: Collection[int]
    conflicting: Collection[int]
    falling: Collection[int]
    block_cycles: int
    with_details: bool


class BlockStage(StageOne):
    """Stage one for blocks, with the same rows and the same rules."""

    def read(self, asked: BlocksAsked) -> dict[str, list[tuple[Any, ...]]]:
        """
        Blocks of some stretches.

        Parameters
        ----------
        asked : BlocksAsked
            Stretches, length of a block, and whether peaks and rise times are wanted.

        Returns
        -------
        dict of str to list of tuple
            Result of the text `blocks` by how the rows were taken: `as_stored`, `kindest`,
            `harshest` or `by_clock`.
        """
        self._parameters["cycles_of_a_block"] = asked.block_cycles
        self._parameters["with_details"] = asked.with_details
        keys, conflicting = set(asked.stretch_keys), {*asked.conflicting}
        repeating = self._repeating(keys)
        found: dict[str, list[tuple[Any, ...]]] = {}
        if plain := keys - repeating - conflicting:
            self._choose(plain)
            found["as_stored"] = self._blocks("stored_rows", "as_stored")
        if lapped := repeating | conflicting:
            self._make_laps(lapped, repeating)
            found.setdefault("as_stored", []).extend(self._blocks("lapped_rows", "as_stored"))
        if conflicting:
            self._make_laps(conflicting, repeating)
            for variant in VARIANTS[1:]:
                found[variant] = self._blocks("lapped_rows", variant)
        if falling := keys.intersection(asked.falling):
            self._make_laps(falling, falling)
            found["by_clock"] = self._blocks("lapped_rows", "as_stored")
        return found

    def _blocks(self, source: str, variant: str) -> list[tuple[Any, ...]]:
        self._execute(_KEEP_CHUNKS + self._text(source, variant, "block_chunks"))
        return self._query(source, variant, "blocks")

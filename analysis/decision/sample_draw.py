"""Drawing a sample in a way that anybody can repeat with nothing but SHA-256."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from analysis.errors import OutsideDomainError
from schemas.sample_draws import DrawnStratum, SerialRange


def serials_of(numbered: SerialRange) -> list[str]:
    """
    Serials of a numbered population, in order.

    Raises
    ------
    OutsideDomainError
        If the last number is below the first.

    Examples
    --------
    >>> serials_of(SerialRange(prefix="A-", first=9, last=11, digits=3))
    ['A-009', 'A-010', 'A-011']
    """
    if numbered.last < numbered.first:
        raise OutsideDomainError("last", numbered.last, f"at least {numbered.first}")
    numbers = range(numbered.first, numbered.last + 1)
    return [f"{numbered.prefix}{number:0{numbered.digits}d}" for number in numbers]


def place_in_draw(seed: str, stratum: str, serial: str) -> str:
    r"""
    What a serial is sorted by: 64 hexadecimal digits.

    Parameters
    ----------
    seed : str
    stratum : str
        Component batch of the stratum; empty if it has none.
    serial : str

    Notes
    -----
    SHA-256 of the UTF-8 text: seed, line feed, stratum, line feed, serial. Nobody can choose a
    seed that draws a wanted unit without trying seeds; that is why the seed is recorded and
    may be a number that was drawn in public.

    Examples
    --------
    The same at a command line: ``printf '2026\\n\\nA-001' | sha256sum``.

    >>> place_in_draw("2026", "", "A-001")[:8]
    'd03af5ed'
    """
    return hashlib.sha256(f"{seed}\n{stratum}\n{serial}".encode()).hexdigest()


def draw_stratum(
    serials: Sequence[str], *, seed: str, stratum: str | None, unit_count: int, spare_count: int
) -> DrawnStratum:
    """
    Draw units and spares of one stratum, each unit as likely as any other.

    Parameters
    ----------
    serials : sequence of str
        The population, each once, in any order.
    seed : str, keyword only
    stratum : str or None, keyword only
        Component batch, if the stratum is one.
    unit_count : int, >= 1, keyword only
    spare_count : int, >= 0, keyword only

    Returns
    -------
    DrawnStratum
        Units and spares in the order of the draw.

    Raises
    ------
    OutsideDomainError
        If the population holds fewer units than are to be drawn.
    """
    if unit_count + spare_count > len(serials):
        raise OutsideDomainError(
            "unit_count + spare_count", unit_count + spare_count, f"at most {len(serials)}"
        )
    name = stratum or ""
    order = sorted(serials, key=lambda serial: (place_in_draw(seed, name, serial), serial))
    drawn = {
        "population_count": len(serials),
        "drawn": order[:unit_count],
        "spares": order[unit_count : unit_count + spare_count],
    }
    if stratum is None:
        return DrawnStratum(**drawn)  # type: ignore[arg-type]  # each under its own name
    return DrawnStratum(**drawn, component_batch=stratum)  # type: ignore[arg-type]  # the same


def population_sha256(strata: Sequence[tuple[str, Sequence[str]]]) -> str:
    """
    Digest of a population, whatever the order in which it was told.

    Parameters
    ----------
    strata : sequence of tuple of str and sequence of str
        Component batch (empty if there is none) and serials.
    """
    lines = sorted(f"{stratum}\t{serial}\n" for stratum, serials in strata for serial in serials)
    return hashlib.sha256("".join(lines).encode()).hexdigest()

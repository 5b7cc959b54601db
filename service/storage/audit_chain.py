"""The audit trail: every stored fact has a link, and each link hashes the one before it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import duckdb
import msgspec
from msgspec import Struct

from schemas.audit import AuditHead, AuditLink

START = "0" * 64
"""What the first link stands on."""
_OTHER_NUMBERS = {"lots": "lot_key", "units": "unit_key", "uploads": "upload_key"}
"""Tables of facts that are numbered by a key of their own; all others by their entry."""
_FACT_TABLES = """
SELECT DISTINCT table_name FROM duckdb_columns()
WHERE column_name = 'entry_no' AND NOT internal AND table_name IN (
    SELECT table_name FROM duckdb_tables())
ORDER BY table_name
"""
_NEWEST = "SELECT fact_kind, max(fact_no) FROM audit_links GROUP BY fact_kind"
_NUMBERS = """
SELECT (SELECT max(lot_key) FROM lots), (SELECT max(unit_key) FROM units),
    (SELECT max(upload_key) FROM uploads),
    (SELECT last_value FROM duckdb_sequences() WHERE sequence_name = 'fact_numbers')
"""
_HEAD = "SELECT position, link FROM audit_links ORDER BY position DESC LIMIT 1"
_LINKS = """
SELECT position, fact_kind, fact_no, fact_sha256, link
FROM audit_links
WHERE position > $after
ORDER BY position
LIMIT $most
"""
_KEEP = """
INSERT INTO audit_links (position, fact_kind, fact_no, fact_sha256, link)
SELECT unnest($positions::BIGINT[]), unnest($kinds::VARCHAR[]), unnest($numbers::BIGINT[]),
    unnest($hashes::VARCHAR[]), unnest($links::VARCHAR[])
"""
_AT_ONCE = 5_000

Fact = tuple[str, int, str]
"""Kind, number and hash of a fact."""


class _End(Struct, frozen=True, kw_only=True):
    """
    The end of the trail, and the newest number of what is in it.

    `keys` are those of tables with a key of their own, `entry_no` that of all others.
    """

    head: AuditHead
    keys: dict[str, int]
    entry_no: int


class AuditChain:
    """
    Links facts as they are stored, for the one writer of a store.

    What it knows of the end of the trail is remembered from one write to the next, and
    the tables that were written last are asked first: most writes add one fact.
    """

    def __init__(self) -> None:
        self._tables: list[str] = []
        self._end: _End | None = None
        self._reached: _End | None = None

    def extend(self, db: duckdb.DuckDBPyConnection) -> None:
        """
        Link every fact that has none yet; part of the transaction that stores them.

        Parameters
        ----------
        db : DuckDBPyConnection
            Inside a write transaction, after its facts were added.
        """
        end = self._end or self._find_end(db)
        *found, given = db.execute(_NUMBERS).fetchall()[0]
        keys = {
            table: -1 if number is None else int(number)
            for table, number in zip(_OTHER_NUMBERS, found, strict=True)
        }
        facts = [
            fact
            for table, key in _OTHER_NUMBERS.items()
            if keys[table] > end.keys.get(table, -1)
            for fact in _facts_of(db, table, key, end.keys.get(table, -1))
        ]
        entries, entry_no = self._new_entries(db, end.entry_no, given)
        facts += entries
        head = end.head
        for start in range(0, len(facts), _AT_ONCE):
            head = _keep(db, facts[start : start + _AT_ONCE], head)
        self._reached = _End(head=head, keys=keys, entry_no=entry_no)

    def committed(self) -> None:
        """The transaction that was extended last is on disk."""
        self._end, self._reached = self._reached, None

    def forget(self) -> None:
        """The transaction was rolled back, or the trail was changed by another hand."""
        self._end = self._reached = None

    def _find_end(self, db: duckdb.DuckDBPyConnection) -> _End:
        self._tables = _entry_tables(db)
        newest = dict(db.execute(_NEWEST).fetchall())
        keys = {kind: number for kind, number in newest.items() if kind in _OTHER_NUMBERS}
        entries = [number for kind, number in newest.items() if kind not in _OTHER_NUMBERS]
        return _End(head=read_audit_head(db), keys=keys, entry_no=max(entries, default=-1))

    def _new_entries(
        self, db: duckdb.DuckDBPyConnection, last: int, given: int | None
    ) -> tuple[list[Fact], int]:
        """Facts with an entry number behind the last one, and the newest number given away."""
        newest = last if given is None else int(given)
        # Entries are numbered together. A number may be lost to a write that was rolled back:
        # then every table is asked, once.
        found: list[Fact] = []
        for table in list(self._tables):
            if len(found) >= newest - max(last, 0):
                break
            of_table = list(_facts_of(db, table, "entry_no", last))
            if of_table:
                self._tables.remove(table)
                self._tables.insert(0, table)
            found += of_table
        return sorted(found, key=lambda fact: fact[1]), newest


def _keep(db: duckdb.DuckDBPyConnection, facts: Sequence[Fact], head: AuditHead) -> AuditHead:
    links = list(_linked(facts, head))
    columns = {
        "positions": [each.position for each in links],
        "kinds": [each.fact_kind for each in links],
        "numbers": [each.fact_no for each in links],
        "hashes": [each.fact_sha256 for each in links],
        "links": [each.link for each in links],
    }
    db.execute(_KEEP, columns)
    return AuditHead(position=links[-1].position, link=links[-1].link)


def read_audit_head(db: duckdb.DuckDBPyConnection) -> AuditHead:
    """The end of the trail; position 0 before the first fact."""
    row = db.execute(_HEAD).fetchone()
    return AuditHead(position=row[0], link=row[1]) if row else AuditHead(position=0, link=START)


def read_audit_links(db: duckdb.DuckDBPyConnection, *, after: int, limit: int) -> list[AuditLink]:
    """Links of the trail behind a position, in order."""
    rows = db.execute(_LINKS, {"after": after, "most": limit}).fetchall()
    return [AuditLink(**dict(zip(AuditLink.__struct_fields__, row, strict=True))) for row in rows]


def first_difference(db: duckdb.DuckDBPyConnection, head: AuditHead | None = None) -> str | None:
    """
    First way in which the stored facts and their trail disagree, in words.

    Parameters
    ----------
    db : DuckDBPyConnection
    head : AuditHead, optional
        An end of the trail that was noted down earlier and must still be in it.

    Returns
    -------
    str or None
        None where every link follows from the one before it, every linked fact is there
        unchanged, and every fact has its link.
    """
    stored = {(kind, number): digest for kind, number, digest in _all_facts(db)}
    before = START
    for each in _every_link(db):
        if each.link != link_of(
            before, each.position, (each.fact_kind, each.fact_no, each.fact_sha256)
        ):
            return f"Link {each.position} does not follow from the one before it."
        named = f"{each.fact_kind} {each.fact_no} (link {each.position})"
        digest = stored.pop((each.fact_kind, each.fact_no), None)
        if digest is None:
            return f"The fact {named} is missing."
        if digest != each.fact_sha256:
            return f"The fact {named} was changed."
        if head is not None and head.position == each.position and head.link != each.link:
            return f"Link {each.position} is not the one that was noted down."
        before = each.link
    if head is not None and head.position > read_audit_head(db).position:
        return f"The trail ends before link {head.position}, which was noted down."
    for kind, number in sorted(stored):
        return f"The fact {kind} {number} has no link."
    return None


def link_of(before: str, position: int, fact: Fact) -> str:
    """
    Hash of a link: the one before it, its position, and the fact.

    Examples
    --------
    >>> link_of(START, 1, ("lots", 1, "00"))[:12]
    '5cc91eccb40c'
    """
    kind, number, digest = fact
    said = msgspec.json.encode([before, position, kind, number, digest])
    return hashlib.sha256(said).hexdigest()


def _linked(facts: Iterable[Fact], head: AuditHead) -> Iterator[AuditLink]:
    position, link = head.position, head.link
    for fact in facts:
        position += 1
        link = link_of(link, position, fact)
        yield AuditLink(
            position=position, fact_kind=fact[0], fact_no=fact[1], fact_sha256=fact[2], link=link
        )


def _all_facts(db: duckdb.DuckDBPyConnection) -> Iterator[Fact]:
    for table, key in _OTHER_NUMBERS.items():
        yield from _facts_of(db, table, key, -1)
    for table in _entry_tables(db):
        yield from _facts_of(db, table, "entry_no", -1)


def _entry_tables(db: duckdb.DuckDBPyConnection) -> list[str]:
    return [row[0] for row in db.execute(_FACT_TABLES).fetchall()]


def _facts_of(db: duckdb.DuckDBPyConnection, table: str, key: str, after: int) -> Iterator[Fact]:
    # Names of tables and columns take no bound parameter; these come from the program.
    result = db.execute(
        f'SELECT * FROM "{table}" WHERE {key} > $after ORDER BY {key}', {"after": after}
    )
    names = [column[0] for column in result.description or []]
    for row in result.fetchall():
        said = dict(zip(names, row, strict=True))
        yield table, int(said[key]), _hash_of(said)


def _hash_of(said: dict[str, Any]) -> str:
    """Hash of what a fact says. What is not stated is left out: a column may come later."""
    stated = {name: value for name, value in said.items() if value is not None}
    return hashlib.sha256(msgspec.json.encode(stated, order="sorted")).hexdigest()


def _every_link(db: duckdb.DuckDBPyConnection) -> Iterator[AuditLink]:
    after = 0
    while links := read_audit_links(db, after=after, limit=_AT_ONCE):
        yield from links
        after = links[-1].position

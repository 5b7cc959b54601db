"""A pack checked with nothing but itself: digests, signature, lives, figures, verdict."""

from __future__ import annotations

from pathlib import Path
from typing import TypeVar

import msgspec

from analysis.decision import METHOD_VERSION
from analysis.errors import AnalysisError
from analysis.reduction import REDUCTION_VERSION
from analysis.reduction.lives import reduce_unit
from schemas.decisions import Decision, Evaluation
from schemas.evidence_packs import DecisionEvidence, PackManifest, PackReport, PublicKey
from service.signing import is_signed_with
from service.storage.specs import spec_hash
from service.workflows import pack_files
from service.workflows.pack_files import BrokenPack, OpenPack
from service.workflows.recheck import changed_figures, evaluated, same_text
from service.workflows.verify_rows import check_rows, why_rows_are_not_computed

Kind = TypeVar("Kind", bound=msgspec.Struct)

_FREE = {pack_files.MANIFEST, pack_files.SIGNATURE, pack_files.KEY}
"""Parts that the list of parts cannot hold: the list itself and what signs it."""


def verify_pack(path: Path, known_key: str | None) -> PackReport:
    """
    Check an evidence pack; nothing but the file is read.

    Parameters
    ----------
    path : Path
    known_key : str or None
        Public key that the reader trusts, in base64. Without it the key in the pack is
        used, which shows that nothing was changed since, not who signed.

    Returns
    -------
    PackReport
        What was checked before the first difference, and that difference in words.
    """
    checked: list[str] = []
    left_out: list[str] = []
    signed_with: str | None = None
    try:
        pack = OpenPack(path)
        try:
            key = _decoded(pack, pack_files.KEY, PublicKey)
            signed_with = key.key_id
            for name, check in _CHECKS:
                check(pack, key if known_key is None else _known(key, known_key))
                checked.append(name)
            left_out = _check_rows(pack, checked)
        finally:
            pack.close()
    except BrokenPack as difference:
        return PackReport(
            is_sound=False,
            checked=checked,
            key_is_known=known_key is not None,
            signed_with=signed_with if signed_with else msgspec.UNSET,
            difference=str(difference),
        )
    return PackReport(
        is_sound=True,
        checked=checked,
        key_is_known=known_key is not None,
        not_checked=left_out,
        signed_with=signed_with or msgspec.UNSET,
    )


def _known(key: PublicKey, known_key: str) -> PublicKey:
    if key.public_key != known_key.strip():
        raise BrokenPack("The pack is signed with another key than the one that was given.")
    return key


def _check_signature(pack: OpenPack, key: PublicKey) -> None:
    if not is_signed_with(key, pack.read(pack_files.SIGNATURE), pack.read(pack_files.MANIFEST)):
        raise BrokenPack(f"The signature does not belong to {pack_files.MANIFEST}.")


def _check_parts(pack: OpenPack, key: PublicKey) -> None:
    manifest = pack.manifest()
    if manifest.signed_with != key.key_id:
        raise BrokenPack("The list of parts names another key than the one it is signed with.")
    listed = {part.name: part for part in manifest.parts}
    strange = sorted(pack.names - _FREE - set(listed))
    if strange:
        raise BrokenPack(f"The part {strange[0]} is not on the list.")
    for name, part in listed.items():
        if pack.measured(name) != part:
            raise BrokenPack(f"The part {name} is not the one that was signed.")


def _check_decision(pack: OpenPack, key: PublicKey) -> None:
    manifest, decision, evidence = _content(pack)
    if manifest.decision_id != decision.decision_id:
        raise BrokenPack("The decision is not the one that the list of parts names.")
    if spec_hash(evidence.spec.spec) != evidence.spec.hash:
        raise BrokenPack("The specification does not have the hash that it states.")
    if evidence.spec.hash != decision.spec.hash:
        raise BrokenPack("The decision rests on another specification.")
    provenance = decision.evaluation.provenance
    for name, stated, ours in (
        ("method", provenance.method_version, METHOD_VERSION),
        ("reduction", provenance.reduction_version, REDUCTION_VERSION),
    ):
        if stated != ours:
            raise BrokenPack(
                f"The verdict was computed by version {stated} of the {name}; this program has "
                f"version {ours}. Check it with a program of that version."
            )


def _check_lives(pack: OpenPack, key: PublicKey) -> None:
    _, _, evidence = _content(pack)
    stated = {life.unit_id: life for life in evidence.lives}
    for unit in evidence.units:
        try:
            life = reduce_unit(unit, evidence.spec.spec, evidence.answers)
        except AnalysisError as error:
            raise BrokenPack(f"The life of unit {unit.unit_serial} is refused: {error}.") from None
        if same_text(stated.pop(unit.unit_id, msgspec.UNSET)) != same_text(life):
            raise BrokenPack(f"The life of unit {unit.unit_serial} does not follow from its rows.")
    for life in stated.values():
        raise BrokenPack(f"There is no evidence of the life of unit {life.unit_serial}.")


def _check_verdict(pack: OpenPack, key: PublicKey) -> None:
    _, decision, evidence = _content(pack)
    found = _evaluated(decision, evidence)
    for name in changed_figures(found, decision.evaluation):
        raise BrokenPack(f"The evaluation's {name} does not follow from the lives.")
    if (decision.verdict, decision.kind) != (found.verdict, found.kind):
        raise BrokenPack("The verdict recorded is not the one of its evaluation.")


def _check_uploads(pack: OpenPack, key: PublicKey) -> None:
    """Files that are in the pack are those that the evidence names."""
    _, _, evidence = _content(pack)
    named = {each.sha256 for each in evidence.uploads}
    for name in sorted(pack.names):
        if name.startswith(pack_files.UPLOADS):
            digest = pack.measured(name).sha256
            if digest not in named or name != f"{pack_files.UPLOADS}{digest}.parquet":
                raise BrokenPack(f"The part {name} is no file that the evidence names.")


def _check_rows(pack: OpenPack, checked: list[str]) -> list[str]:
    """Reduce the rows again where the pack holds them; what cannot be checked, in words."""
    _, decision, evidence = _content(pack)
    left_out = []
    reason = why_rows_are_not_computed(pack, evidence)
    if reason is None:
        check_rows(pack, evidence, decision.lot_number, decision.decided_at)
        checked.append("rows")
    else:
        left_out.append(reason)
    edge_rule = decision.evaluation.edge_rule
    if edge_rule is not msgspec.UNSET and edge_rule.uncertainty_known:
        left_out.append("edge rule: the verdict under the other rule is not computed again")
    return left_out


_CHECKS = (
    ("signature", _check_signature),
    ("parts", _check_parts),
    ("decision and specification", _check_decision),
    ("lives", _check_lives),
    ("figures and verdict", _check_verdict),
    ("uploaded files", _check_uploads),
)


def _evaluated(decision: Decision, evidence: DecisionEvidence) -> Evaluation:
    try:
        return evaluated(decision.evaluation, evidence, evidence.lives)
    except AnalysisError as error:
        raise BrokenPack(f"The evaluation is refused: {error}.") from None


def _content(pack: OpenPack) -> tuple[PackManifest, Decision, DecisionEvidence]:
    return (
        pack.manifest(),
        _decoded(pack, pack_files.DECISION, Decision),
        _decoded(pack, pack_files.EVIDENCE, DecisionEvidence),
    )


def _decoded(pack: OpenPack, name: str, kind: type[Kind]) -> Kind:
    try:
        return msgspec.json.decode(pack.read(name), type=kind)
    except msgspec.DecodeError as error:
        raise BrokenPack(f"{name} cannot be read: {error}.") from None

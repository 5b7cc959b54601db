"""The table from exception to kind of problem."""

import analysis.errors
import service.errors
from schemas.problems import PROBLEM_TYPES, ProblemError
from service.errors import (
    PROBLEM_OF_ERROR,
    AlreadyExists,
    Conflict,
    InvalidRequest,
    ServiceError,
    UploadRefused,
    problem_slug,
)


def test_every_name_in_the_table_is_an_exception_and_every_slug_a_kind_of_problem() -> None:
    for name, slug in PROBLEM_OF_ERROR.items():
        found = getattr(service.errors, name, None) or getattr(analysis.errors, name)
        assert issubclass(found, Exception)
        assert slug in PROBLEM_TYPES


def test_every_service_error_is_in_the_table() -> None:
    def below(parent: type[Exception]) -> set[str]:
        # A narrower error that another module makes of one of these has its parent's kind.
        children = [c for c in parent.__subclasses__() if c.__module__ == "service.errors"]
        return {c.__name__ for c in children}.union(*(below(c) for c in children))

    assert below(ServiceError) <= PROBLEM_OF_ERROR.keys()


def test_a_subclass_inherits_the_kind_of_its_parent() -> None:
    class LotClosed(Conflict):
        pass

    assert problem_slug(LotClosed("LOT_CLOSED", "The lot is closed.")) == "conflict"


def test_an_unknown_exception_is_an_internal_fault() -> None:
    assert problem_slug(KeyError("secret")) == "internal"


def test_a_refused_upload_is_told_as_the_kind_it_carries() -> None:
    finding = ProblemError(code="MEDIA_TYPE", detail="Send Parquet.")
    assert problem_slug(UploadRefused([finding])) == "upload-refused"
    assert problem_slug(UploadRefused([finding], "too-large")) == "too-large"


def test_a_refused_upload_says_the_first_finding_and_how_many_more() -> None:
    findings = [ProblemError(code=f"F{i}", detail=f"Fault {i}.") for i in range(3)]
    assert UploadRefused(findings).detail == "Fault 0. (and 2 more)"
    assert UploadRefused(findings[:1]).detail == "Fault 0."


def test_a_conflict_carries_its_code_for_machines() -> None:
    assert [e.code for e in AlreadyExists("lot", "CC25-0117").errors] == ["ALREADY_EXISTS"]


def test_an_invalid_request_says_its_first_error() -> None:
    error = ProblemError(code="X", detail="The body is empty.", pointer="")
    assert InvalidRequest([error]).detail == "The body is empty."

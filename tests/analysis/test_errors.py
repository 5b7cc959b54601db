import pytest

from analysis.errors import (
    AnalysisError,
    DidNotConvergeError,
    InconsistentRecordError,
    OutsideDomainError,
)


def test_a_refusal_says_what_what_is_allowed_and_what_was_given() -> None:
    error = OutsideDomainError("confidence", 90, "a fraction strictly between 0 and 1")
    assert str(error) == "confidence must be a fraction strictly between 0 and 1, got 90"
    assert (error.name, error.value) == ("confidence", 90)


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (OutsideDomainError("shape", -1, "a finite number above 0"), "OUTSIDE_DOMAIN"),
        (InconsistentRecordError("CC25-07", ["failed", "clean"]), "INCONSISTENT_RECORD"),
        (DidNotConvergeError("shape", "200 steps"), "DID_NOT_CONVERGE"),
    ],
)
def test_each_kind_has_a_fixed_code_and_is_a_value_error(error: AnalysisError, code: str) -> None:
    assert error.code == code
    assert isinstance(error, AnalysisError) and isinstance(error, ValueError)

"""What can go wrong in the service, and the one table from exception to kind of problem.

Storage, intake and workflows raise these; none of them knows a status code. The
HTTP layer looks an exception up in `PROBLEM_OF_ERROR` and its kind in
`schemas.problems.PROBLEM_TYPES`, which holds the status.
"""

from __future__ import annotations

from typing import Literal

from schemas.problems import ProblemError

UploadRefusalKind = Literal["upload-refused", "too-large", "unsupported-media-type"]


class ServiceError(Exception):
    """
    Parent of every error that a caller can do something about.

    Parameters
    ----------
    detail : str
        What is wrong in this case and what to do. No path, SQL or secret: it
        is sent to the caller as it stands.
    errors : list of ProblemError, optional
        Single faults with their places.
    """

    def __init__(self, detail: str, errors: list[ProblemError] | None = None) -> None:
        super().__init__(detail)
        self.detail = detail
        self.errors: list[ProblemError] = errors or []


class OperatorError(Exception):
    """The service cannot start or a command cannot run; the message is for the operator."""


class NotFound(ServiceError):
    """Nothing is stored under that key, for example ``NotFound("lot", lot_id)``."""

    def __init__(self, what: str, key: str) -> None:
        super().__init__(f"There is no {what} {key!r}.")
        self.what = what
        self.key = key


class Conflict(ServiceError):
    """The request clashes with what is stored; `code` names the clash for machines."""

    def __init__(self, code: str, detail: str) -> None:
        super().__init__(detail, [ProblemError(code=code, detail=detail)])
        self.code = code


class AlreadyExists(Conflict):
    """The same key is already stored with other content."""

    def __init__(self, what: str, key: str) -> None:
        super().__init__(
            "ALREADY_EXISTS", f"The {what} {key!r} is stored already, with other content."
        )
        self.what = what
        self.key = key


class SpecFrozen(ServiceError):
    """A spec version that is no draft any more was to be changed or deleted."""

    def __init__(self, spec_id: str, version: int) -> None:
        super().__init__(
            f"Version {version} of spec {spec_id!r} is no draft any more; make the next version."
        )


class NotDecidable(ServiceError):
    """The lot's verdict is neither ACCEPT nor REJECT, so it cannot be recorded."""


class StaleVersion(ServiceError):
    """The entity tag in If-Match is not the current one."""

    def __init__(self, detail: str = "What you read has changed since; read it again.") -> None:
        super().__init__(detail)


class PreconditionRequired(ServiceError):
    """If-Match is missing where nobody may write without it."""

    def __init__(self, detail: str = "Send the ETag that you read as If-Match.") -> None:
        super().__init__(detail)


class UploadRefused(ServiceError):
    """
    An uploaded table was refused; nothing of it is stored.

    Parameters
    ----------
    findings : list of ProblemError
        At least one; each with its own code, the column where there is one,
        up to ten rows, and what to change.
    kind : {"upload-refused", "too-large", "unsupported-media-type"}
        The kind of problem that the caller is told.
    """

    def __init__(
        self, findings: list[ProblemError], kind: UploadRefusalKind = "upload-refused"
    ) -> None:
        first = findings[0].detail if findings else "The file cannot be read."
        more = len(findings) - 1
        super().__init__(first if more <= 0 else f"{first} (and {more} more)", findings)
        self.findings = self.errors
        self.kind: UploadRefusalKind = kind


class InvalidRequest(ServiceError):
    """The body or a parameter is malformed, unknown, missing or outside its range."""

    def __init__(self, errors: list[ProblemError]) -> None:
        super().__init__(errors[0].detail if errors else "The request is not valid.", errors)


class NotAuthenticated(ServiceError):
    """No token, or one that is unknown or revoked."""

    def __init__(self, detail: str = "Send a bearer token in the Authorization header.") -> None:
        super().__init__(detail)


class NotAllowed(ServiceError):
    """The caller is known but lacks the scope that is needed."""

    def __init__(self, scope: str) -> None:
        super().__init__(f"This needs a token with the scope {scope}.")
        self.scope = scope


class PersonNeeded(ServiceError):
    """A program holds the scope, but only a person may sign this."""

    def __init__(self, what: str) -> None:
        super().__init__(f"Only a person may sign {what}; this token belongs to a program.")


class TooManyRequests(ServiceError):
    """Too many failed attempts in a short time."""

    def __init__(self, retry_after_s: int) -> None:
        super().__init__(f"Too many failed attempts; wait {retry_after_s} seconds.")
        self.retry_after_s = retry_after_s


class StorageBusy(ServiceError):
    """The writer is occupied, or the service is not ready yet; the caller should try again."""

    def __init__(
        self, detail: str = "The service is busy; try again.", *, retry_after_s: int = 2
    ) -> None:
        super().__init__(detail)
        self.retry_after_s = retry_after_s


class DataDirectoryInUse(ServiceError):
    """Another process already works on this data directory; only one may at a time."""

    def __init__(self, detail: str = "Another process already uses this data directory.") -> None:
        super().__init__(detail)


PROBLEM_OF_ERROR: dict[str, str] = {
    "NotFound": "not-found",
    "AlreadyExists": "conflict",
    "Conflict": "conflict",
    "SpecFrozen": "spec-frozen",
    "NotDecidable": "not-decidable",
    "StaleVersion": "stale-version",
    "PreconditionRequired": "precondition-required",
    "UploadRefused": "upload-refused",
    "InvalidRequest": "invalid-request",
    "NotAuthenticated": "not-authenticated",
    "NotAllowed": "not-allowed",
    "PersonNeeded": "not-allowed",
    "TooManyRequests": "too-many-requests",
    "StorageBusy": "busy",
    "DataDirectoryInUse": "busy",
    # From analysis.errors. Records that contradict each other, or a fit that gave
    # up, are turned into holds and "cannot be estimated" by the workflows; one
    # that still escapes is a fault of ours.
    "OutsideDomainError": "outside-domain",
    "InconsistentRecordError": "internal",
    "DidNotConvergeError": "internal",
}
"""
Name of an exception class to the slug of its kind; a subclass inherits its parent's.

By name, because storage and intake import this module and must not load the
mathematics with it. A test resolves every name.
"""


def problem_slug(error: Exception) -> str:
    """
    Kind of problem that an exception is told as.

    Parameters
    ----------
    error : Exception
        Any exception. One that no class of the table covers is ``internal``.

    Returns
    -------
    str
        A key of `schemas.problems.PROBLEM_TYPES`.

    Examples
    --------
    >>> problem_slug(NotFound("lot", "lot_1"))
    'not-found'
    >>> problem_slug(KeyError("x"))
    'internal'
    """
    if isinstance(error, UploadRefused):
        return error.kind
    names = (parent.__name__ for parent in type(error).__mro__)
    return next((PROBLEM_OF_ERROR[name] for name in names if name in PROBLEM_OF_ERROR), "internal")

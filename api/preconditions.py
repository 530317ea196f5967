"""Conditional requests on a record with a version (RFC 9110, section 13): ETag, If-None-Match, If-Match."""

from rest_framework import status
from rest_framework.exceptions import APIException
from rest_framework.request import Request

from clubdata.errors import InvalidInput


class PreconditionRequired(APIException):
    """A change that does not say which version it changes (RFC 6585, section 3)."""

    status_code = status.HTTP_428_PRECONDITION_REQUIRED
    default_detail = "Send If-Match with the ETag of the version that you read."
    default_code = "precondition_required"


def etag_of(version: int, *more: object) -> str:
    """A strong validator: the version first, then whatever else the representation rests on."""
    return '"' + ".".join(["v" + str(version), *map(str, more)]) + '"'


def version_to_change(request: Request) -> int:
    """The version that If-Match names. Raises `PreconditionRequired`, and `InvalidInput` for one not ours.

    A star would change whatever stands, which is what the header is to prevent: it is not taken.
    """
    given = request.headers.get("If-Match", "").strip()
    if not given or given == "*":
        raise PreconditionRequired
    first = given.strip('"').partition(".")[0]
    if not (first.startswith("v") and first[1:].isascii() and first[1:].isdigit() and len(first) < 11):
        raise InvalidInput("If-Match takes the ETag as it was sent, one of them.", field="If-Match")
    return int(first[1:])


def state_to_change(request: Request) -> str:
    """The digest that If-Match names, of a record without a version. Raises `PreconditionRequired`."""
    given = request.headers.get("If-Match", "").strip()
    if not given or given == "*":
        raise PreconditionRequired
    return given.removeprefix("W/").strip('"')


def is_unchanged(request: Request, etag: str) -> bool:
    """Whether If-None-Match names this very representation."""
    given = request.headers.get("If-None-Match", "")
    return etag in {one.strip().removeprefix("W/") for one in given.split(",")}

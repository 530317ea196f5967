"""One mapping from everything that can go wrong to problem details (RFC 9457).

A problem's `type` is a stable relative reference; `errors` names each field at fault with a code of its
own. Things that do not exist and things of another club give the same body, byte for byte.
"""

from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from django.core.exceptions import PermissionDenied as DjangoPermissionDenied
from django.core.exceptions import RequestDataTooBig, SuspiciousOperation
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.views import defaults
from rest_framework import exceptions, status
from rest_framework.response import Response

from api.preconditions import PreconditionRequired
from clubdata.errors import ClubdataError, Conflict, InvalidInput, NotAllowed, NotFound
from clubdata.services.faults import ManyInvalid, VersionMoved
from clubdata.services.replies import KeyReused
from clubdata.services.sign_ins import SignInRefused, TooManyAttempts

MEDIA_TYPE = "application/problem+json"
ABSENT = "There is no such thing here, or it is not yours to see."


class RequestTooLarge(exceptions.APIException):
    """The body is larger than this route takes."""

    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE
    default_detail = "The request is too large."
    default_code = "too_large"


class Kind(NamedTuple):
    """A row of the mapping: the HTTP status, the stable code and what the code stands for."""

    status: int
    code: str
    title: str


INVALID = Kind(400, "invalid_input", "The input cannot be accepted")
MALFORMED = Kind(400, "malformed", "The request cannot be read")
UNAUTHENTICATED = Kind(401, "not_authenticated", "Sign in first")
NOT_ALLOWED = Kind(403, "not_allowed", "You lack the role that this needs")
NOT_FOUND = Kind(404, "not_found", "Not found")
CONFLICT = Kind(409, "conflict", "The state of the record does not allow it")
TOO_LARGE = Kind(413, "too_large", "The request is too large")
DEFECT = Kind(500, "defect", "Something is broken on our side")

# Looked up along the exception's classes, nearest first.
KINDS: dict[type[BaseException], Kind] = {
    InvalidInput: INVALID,
    NotAllowed: NOT_ALLOWED,
    NotFound: NOT_FOUND,
    Conflict: CONFLICT,
    SignInRefused: Kind(401, "sign_in_refused", "The login was not opened"),
    TooManyAttempts: Kind(429, "too_many_attempts", "Too many attempts"),
    KeyReused: Kind(422, "key_reused", "The key stands for another request"),
    VersionMoved: Kind(412, "version_moved", "The record has changed meanwhile"),
    PreconditionRequired: Kind(428, "precondition_required", "Say which version you change"),
    ClubdataError: CONFLICT,
    exceptions.ValidationError: INVALID,
    exceptions.ParseError: MALFORMED,
    exceptions.NotAuthenticated: UNAUTHENTICATED,
    exceptions.AuthenticationFailed: UNAUTHENTICATED,
    exceptions.PermissionDenied: NOT_ALLOWED,
    exceptions.NotFound: NOT_FOUND,
    exceptions.MethodNotAllowed: Kind(405, "method_not_allowed", "This route has no such method"),
    exceptions.NotAcceptable: Kind(406, "not_acceptable", "No such representation"),
    RequestTooLarge: TOO_LARGE,
    exceptions.UnsupportedMediaType: Kind(415, "unsupported_media_type", "This body's type is not taken"),
    exceptions.Throttled: Kind(429, "too_many_requests", "Too many requests"),
    Http404: NOT_FOUND,
    DjangoPermissionDenied: NOT_ALLOWED,
    RequestDataTooBig: TOO_LARGE,
    SuspiciousOperation: MALFORMED,
}


def problem_response(exc: Exception, _context: dict[str, Any]) -> Response | None:
    """DRF's exception handler; None for a defect, which then goes to `server_error` and the log."""
    kind = _kind_of(exc)
    if kind is None:
        return None
    headers = {}
    if wait := getattr(exc, "wait", None):
        headers["Retry-After"] = str(int(wait))
    if challenge := getattr(exc, "auth_header", None):
        headers["WWW-Authenticate"] = challenge
    return Response(_body(exc, kind), status=kind.status, headers=headers, content_type=MEDIA_TYPE)


def problem_of(exc: Exception) -> dict[str, Any]:
    """The body of the problem that a refusal is, for one of many in an answer."""
    return _body(exc, _kind_of(exc) or DEFECT)


def _body(exc: Exception, kind: Kind) -> dict[str, Any]:
    return problem(kind, detail=_detail_of(exc, kind), errors=list(_errors_of(exc)))


def problem(kind: Kind, *, detail: str = "", errors: Iterable[dict[str, str]] = ()) -> dict[str, Any]:
    """The body of a problem: `type`, `title`, `status`, `detail`, `errors`."""
    return {
        "type": f"/problems/{kind.code.replace('_', '-')}",
        "title": kind.title,
        "status": kind.status,
        "detail": detail or f"{kind.title}.",
        "errors": list(errors),
    }


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler404."""
    if not _is_for_programs(request):
        return defaults.page_not_found(request, exception)
    return _plain(NOT_FOUND, ABSENT)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler400: a forged host, too many fields and the like."""
    kind = _kind_of(exception) or MALFORMED
    return _plain(kind) if _is_for_programs(request) else defaults.bad_request(request, exception)


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler403."""
    if not _is_for_programs(request):
        return defaults.permission_denied(request, exception)
    return _plain(NOT_ALLOWED)


def server_error(request: HttpRequest) -> HttpResponse:
    """Django's handler500: says nothing of what broke."""
    return _plain(DEFECT) if _is_for_programs(request) else defaults.server_error(request)


def _is_for_programs(request: HttpRequest) -> bool:
    return request.path.startswith(("/api/", "/health/"))


def _plain(kind: Kind, detail: str = "") -> JsonResponse:
    return JsonResponse(problem(kind, detail=detail), status=kind.status, content_type=MEDIA_TYPE)


def _kind_of(exc: Exception) -> Kind | None:
    return next((KINDS[base] for base in type(exc).__mro__ if base in KINDS), None)


def _detail_of(exc: Exception, kind: Kind) -> str:
    if kind is NOT_FOUND:
        return ABSENT
    if isinstance(exc, ClubdataError):
        return exc.message
    if isinstance(exc, exceptions.APIException) and isinstance(exc.detail, str):
        return str(exc.detail)
    return ""


def _errors_of(exc: Exception) -> Iterator[dict[str, str]]:
    match exc:
        case NotFound():
            return
        case ManyInvalid() | VersionMoved():
            for one in exc.problems:
                yield {"field": one.field, "code": one.code, "detail": one.message}
        case ClubdataError() if exc.field:
            yield {"field": exc.field, "code": exc.code, "detail": exc.message}
        case exceptions.ValidationError():
            yield from _flatten(exc.detail)


def _flatten(detail: Any, path: tuple[str, ...] = ()) -> Iterator[dict[str, str]]:
    """DRF's nested error lists and dictionaries as one list with dotted field names."""
    if isinstance(detail, dict):
        for key, inner in detail.items():
            step = () if key == "non_field_errors" else (str(key),)
            yield from _flatten(inner, path + step)
    elif isinstance(detail, list):
        for index, inner in enumerate(detail):
            is_row = isinstance(inner, dict)
            yield from _flatten(inner, (*path, str(index)) if is_row else path)
    else:
        yield {
            "field": ".".join(path),
            "code": str(getattr(detail, "code", "invalid")),
            "detail": str(detail),
        }

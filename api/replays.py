"""The Idempotency-Key of a request, and the decorator that answers a repeated one with the first answer."""

import hashlib
import json
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse, QueryDict
from django.http.response import HttpResponseBase
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.permissions import member_of
from clubdata.errors import InvalidInput
from clubdata.services.replies import LONGEST_KEY, Keyed, Reply, answer_once

HEADER = "Idempotency-Key"
#: Left on a method that takes the header, for the OpenAPI document.
MARK = "takes_idempotency_key"
Post = Callable[..., Response]


def answered_once(post: Post) -> Callable[..., HttpResponseBase]:
    """A POST that may be sent again under one key: the work is done once, and the answer is the same."""

    @wraps(post)
    def answered(view: Any, request: Request, **path: Any) -> HttpResponseBase:
        key = key_of(request)
        if key is None:
            return post(view, request, **path)
        who = member_of(request)
        keyed = Keyed(who.account, who.club, key, _fingerprint(request))
        reply = answer_once(keyed=keyed, now=view.now, work=lambda: _kept_form(post(view, request, **path)))
        return HttpResponse(
            reply.body, status=reply.status, headers=reply.headers, content_type="application/json"
        )

    setattr(answered, MARK, True)
    return answered


def key_of(request: Request) -> str | None:
    """The key, a structured-field string (RFC 9651): in quotes, printable ASCII. Bare ones are taken too."""
    given = request.headers.get(HEADER)
    if given is None:
        return None
    key = given.strip()
    if len(key) > 1 and key[0] == key[-1] == '"':
        key = key[1:-1].replace('\\"', '"').replace("\\\\", "\\")
    if not 0 < len(key) <= LONGEST_KEY or not (key.isascii() and key.isprintable()):
        message = f'Write the key in quotes, as "3f1c…": 1 to {LONGEST_KEY} printable ASCII characters.'
        raise InvalidInput(message, field=HEADER)
    return key


def _kept_form(response: Response) -> Reply:
    """An answer as it is kept, JSON; the headers are those that the view itself has set."""
    body = JSONRenderer().render(response.data).decode()
    headers = {name: value for name, value in response.headers.items() if name != "Content-Type"}
    return Reply(status=response.status_code, body=body or "null", headers=headers)


def _fingerprint(request: Request) -> str:
    content = request.data
    if isinstance(content, QueryDict):
        content = {name: [_plain(value) for value in values] for name, values in content.lists()}
    said = [request.method, request.get_full_path(), request.headers.get("If-Match", ""), content]
    return hashlib.sha256(json.dumps(said, sort_keys=True, default=str).encode()).hexdigest()


def _plain(value: Any) -> Any:
    """A file by its name and the digest of its bytes."""
    if not isinstance(value, UploadedFile):
        return value
    digest = hashlib.sha256()
    for chunk in value.chunks():
        digest.update(chunk)
    value.seek(0)
    return [value.name, digest.hexdigest()]

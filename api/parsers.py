"""Bodies read within bounds: a size, a depth, and numbers that a record can hold."""

import json
import math
from collections.abc import Mapping
from typing import IO, Any

from django.http import HttpRequest
from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser, MultiPartParser

from api.errors import RequestTooLarge

LARGEST_JSON_BYTES = 256 * 1024
# What a multipart body holds besides its file: boundaries, headers, two short fields.
MULTIPART_OVERHEAD_BYTES = 64 * 1024


class BoundedJsonParser(JSONParser):
    """JSON of at most `largest_bytes`, without NaN, infinity or bottomless nesting."""

    largest_bytes = LARGEST_JSON_BYTES

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,  # noqa: ARG002 - the parser's contract
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        check_length(parser_context, self.largest_bytes)
        try:
            # The charset of JSON is UTF-8 whatever the header says (RFC 8259).
            text = stream.read().decode("utf-8-sig")
            value = json.loads(text, parse_constant=_refuse, parse_float=_finite)
            # Half of a surrogate pair can be escaped into JSON, but no answer can be written with it.
            json.dumps(value, ensure_ascii=False).encode()
            return value
        except RecursionError:
            raise ParseError("The JSON is nested too deeply.") from None
        except ValueError:
            raise ParseError("The body is not JSON in UTF-8.") from None


class BoundedMultiPartParser(MultiPartParser):
    """A form with a file; refused by its announced length before a byte is read."""

    largest_file_bytes = 0

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        check_length(parser_context, self.largest_file_bytes + MULTIPART_OVERHEAD_BYTES)
        return super().parse(stream, media_type=media_type, parser_context=parser_context)


def check_length(context: Mapping[str, Any] | None, most: int) -> None:
    """Refuse by Content-Length; the server itself reads no more than was announced."""
    request: HttpRequest = (context or {})["request"]
    if int(request.META.get("CONTENT_LENGTH") or 0) > most:
        raise RequestTooLarge(f"At most {most} bytes are taken here.")


def _refuse(constant: str) -> float:
    raise ValueError(constant)


def _finite(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(text)
    return number

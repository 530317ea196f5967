"""Query parameters by a serializer of their own: unknown, repeated and malformed ones are told."""

from typing import Any

from django.http import QueryDict
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.request import Request


class QuerySerializer(serializers.Serializer[Any]):
    """The parameters that a route takes. With none declared it takes none."""


def read_query(request: Request, *declared: type[QuerySerializer]) -> dict[str, Any]:
    """The validated parameters; `ValidationError` for anything that the route does not know."""
    return read_parameters(request.query_params, *declared)


def read_parameters(given: QueryDict, *declared: type[QuerySerializer]) -> dict[str, Any]:
    """As `read_query`, of parameters that no request brings."""
    readers = [one(data=given.dict()) for one in declared]
    known = [str(name) for one in readers for name in one.fields]
    faults: dict[str, ErrorDetail] = {}
    for name, values in given.lists():
        if name not in known:
            taken = ", ".join(known) or "none"
            sentence = f"There is no such parameter here; known: {taken}."
            faults[name[:60]] = ErrorDetail(sentence, code="unknown_parameter")
        elif len(values) > 1:
            faults[name] = ErrorDetail("Give this parameter once.", code="repeated_parameter")
    if faults:
        raise ValidationError(faults)
    validated: dict[str, Any] = {}
    for one in readers:
        one.is_valid(raise_exception=True)
        validated |= one.validated_data
    return validated

"""One answer in many forms: JSON, tables and charts at one address, kept until something changes."""

import inspect
from collections.abc import Callable, Hashable, Mapping
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Any, ClassVar, TypeVar

from django.http import HttpResponse, HttpResponseNotModified, QueryDict
from django.http.response import HttpResponseBase
from django.urls import resolve
from django.utils.cache import patch_vary_headers
from django.utils.http import parse_etags
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.exceptions import NotAcceptable
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from analytics.answers.served import Served, served
from api.ahead import AHEAD, Again, Asked
from api.forms.bodies import Bodies, Body
from api.forms.charts.base import Chart
from api.forms.negotiation import BY_NAME, FORMS, Form, Shape, negotiate
from api.forms.rendering import Rendered, render
from api.forms.sheets import About, Sheet
from api.forms.width import Width
from api.query import QuerySerializer, read_parameters
from api.serializers.shapes import OutputSerializer
from api.views.base import ClubView
from clubdata.errors import Conflict, InvalidInput
from clubdata.models import Club
from clubdata.services.members import Membership
from clubdata.services.waters import date_at_water

BODIES = Bodies()


class FormQuery(QuerySerializer):
    """In which form an answer is wanted."""

    format = serializers.ChoiceField(
        choices=[form.name for form in FORMS],
        required=False,
        help_text="Goes before the Accept header; JSON where neither says anything.",
    )
    sheet = serializers.CharField(
        required=False, max_length=40, help_text="Which table, of several, as CSV or Parquet; the first."
    )
    chart = serializers.CharField(
        required=False, max_length=40, help_text="Which chart, of several; the first."
    )
    width = serializers.ChoiceField(
        choices=[width.value for width in Width], required=False, help_text="Of a chart; print's by default."
    )


FORM_FIELDS = tuple(FormQuery().fields)
View = TypeVar("View", bound="AnswerView")
# What the document says of a form that is not the serializer's.
_SHAPES: dict[str, Any] = {
    "csv": OpenApiTypes.STR,
    "xlsx": OpenApiTypes.BINARY,
    "parquet": OpenApiTypes.BINARY,
    "svg": OpenApiTypes.STR,
    "png": OpenApiTypes.BINARY,
    "vega": OpenApiTypes.OBJECT,
}


class AnswerView(ClubView):
    """A view that answers a question of stored numbers.

    A subclass gives `build` (one domain call), `serializer`, and what there is beside JSON: `sheets` and
    `charts`, whose first is the one drawn unless another is named. `noun` names files and the workbook.
    Where the answer has something of the asking member, `personal` keeps it apart.
    """

    serializer: ClassVar[type[OutputSerializer]]
    noun: ClassVar[str]
    charts: ClassVar[Mapping[str, Callable[[Any], Chart | None]]] = {}
    personal: ClassVar[bool] = False
    #: Whose question it is where no request asks it.
    lent: Membership | None = None

    def build(self, parameters: Mapping[str, Any]) -> Any:
        """The answer to the question's own parameters, with `self.kwargs`, `self.who` and `self.today`."""
        raise NotImplementedError

    def sheets(self, answer: Any) -> tuple[Sheet, ...]:  # noqa: ARG002 - a subclass's to use
        """The answer's tables."""
        return ()

    @property
    def who(self) -> Membership:
        return super().who if self.lent is None else self.lent

    @property
    def today(self) -> date:
        """Today's date at the water in the path, else where the club is."""
        return date_at_water(self.who.club, self.kwargs.get("uid"), now=self.now)

    def perform_content_negotiation(self, _request: Request, force: bool = False) -> tuple[Any, str]:  # noqa: ARG002
        """Problems are JSON whatever form was asked for; the answer's own form is `_form`'s to choose."""
        return JSONRenderer(), JSONRenderer.media_type

    def declared_parameters(self, method: str) -> tuple[type[QuerySerializer], ...]:
        return (*super().declared_parameters(method), FormQuery)

    def get(self, request: Request, **_: Any) -> HttpResponseBase:
        form, source = self._form(request), served(club=self.who.club)
        body = self.body(form, source)
        AHEAD.note(
            club=self.who.club,
            asked=Asked(
                question=self._question(form),
                again=self._again(form),
                source=source.source,
                roles=self.who.roles,
                lend=partial(lend, self.who),
            ),
        )
        return respond(request, body, form)

    def body(self, form: Form, source: Served) -> Body:
        """The answer in a form, as it is kept or else worked out and kept.

        `source` is read before the answer: that may be newer than it, never older.
        """
        key = (source, self.today, self._question(form))
        return BODIES.get_or_write(key, lambda: self._write(form))

    def _question(self, form: Form) -> Hashable:
        """Who asks what: what is told to one club, role or, where personal, member reaches no other."""
        return (
            self.who.club.uid,
            type(self),
            tuple(sorted((name, str(value)) for name, value in self.kwargs.items())),
            tuple(sorted((name, repr(value)) for name, value in self.parameters.items())),
            form.name,
            self.who.roles,
            self.who.member.uid if self.personal else None,
        )

    def _again(self, form: Form) -> Again:
        """Answer the same question once more, apart from the request that asked it."""
        kind, kwargs, parameters, who = type(self), self.kwargs, self.parameters, self.who

        def again(club: Club) -> None:
            view = kind()
            view.kwargs, view.parameters, view.lent = kwargs, parameters, replace(who, club=club)
            view.body(form, served(club=club))

        return again

    def _form(self, request: Request) -> Form:
        named = self.parameters.get("format")
        if named is not None:
            form = BY_NAME[named]
            if not self.offers(form):
                raise InvalidInput("This answer has no such form.", field="format", code="no_such_form")
            return form
        offered = [form for form in FORMS if self.offers(form)]
        liked = negotiate(request.headers.get("Accept", ""), offered)
        if liked is None:
            raise NotAcceptable
        return liked

    @classmethod
    def offers(cls, form: Form) -> bool:
        """Whether there is such a form of this answer."""
        match form.shape:
            case Shape.CHART:
                return bool(cls.charts)
            case Shape.TABLES:
                return cls.sheets is not AnswerView.sheets
            case _:
                return True

    def _write(self, form: Form) -> Body:
        answer = self.build(self._own_parameters())
        data = self.serializer.shape().to_representation(answer)
        rendered = Rendered(
            noun=self.noun,
            data=data,
            sheets=lambda: self.sheets(answer),
            chart=lambda: self._chart(answer),
            about=lambda: self.about(data),
        )
        return render(form, rendered, sheet=self.parameters.get("sheet"), width=self._width())

    def _own_parameters(self) -> dict[str, Any]:
        """The question's parameters, without those of the form."""
        return {name: value for name, value in self.parameters.items() if name not in FORM_FIELDS}

    def _width(self) -> Width:
        return Width(self.parameters.get("width", Width.PRINT.value))

    def _chart(self, answer: Any) -> Chart:
        name = self.parameters.get("chart", next(iter(self.charts)))
        if name not in self.charts:
            known = ", ".join(self.charts)
            raise InvalidInput(
                f"There is no such chart; known: {known}.", field="chart", code="no_such_chart"
            )
        chart = self.charts[name](answer)
        if chart is None:
            raise Conflict(
                "There is nothing to draw: see the answer as JSON for why.", code="nothing_to_draw"
            )
        return chart

    def about(self, data: Mapping[str, Any]) -> About:
        """What stands before the tables of a workbook, from what the answer says of itself."""
        fit, reference = data.get("fit") or {}, data.get("reference") or {}
        asked = "; ".join(f"{name}: {value}" for name, value in self._own_parameters().items())
        lines = [
            ("club", self.who.club.name),
            ("asked on", self.today.isoformat()),
            ("asked", asked),
            (
                "reference",
                str(reference.get("sentence", "")) if isinstance(reference, Mapping) else reference,
            ),
            ("fit", str(fit.get("uid", ""))),
            ("fitted at", str(fit.get("fitted_at", ""))),
            ("returns used", str(fit.get("rows_used", ""))),
            *(("note", str(note)) for note in data.get("notes", ())),
        ]
        return About(f"{self.noun.replace('-', ' ')}", tuple(line for line in lines if line[1]))


def lend(who: Membership, club: Club, address: str) -> None:
    """Answer an address as JSON for whoever has these roles, apart from any request, and keep the answer.

    Only an answer that has nothing of the asking member is worth it.
    """
    path, _, query = address.partition("?")
    match = resolve(path)
    view: AnswerView = match.func.view_class()  # type: ignore[attr-defined]
    view.kwargs, view.lent = match.kwargs, replace(who, club=club)
    view.parameters = read_parameters(QueryDict(query), *view.declared_parameters("GET"))
    view.body(BY_NAME["json"], served(club=club))


def respond(request: Request, body: Body, form: Form) -> HttpResponseBase:
    """The body, or 304 where the asker has it (RFC 9110, section 13.1.2)."""
    known = parse_etags(request.headers.get("If-None-Match", ""))
    weakly = {tag.removeprefix("W/") for tag in known}
    response: HttpResponse
    if known == ["*"] or body.etag in weakly:
        response = HttpResponseNotModified()
    else:
        response = HttpResponse(body.content, content_type=body.content_type)
        if form.shape is not Shape.ANSWER:
            kind = "inline" if form.shape is Shape.CHART else "attachment"
            response["Content-Disposition"] = f'{kind}; filename="{body.file_name}"'
    response["ETag"] = body.etag
    # Kept by the asker alone, and asked about each time: a new fit shows at once.
    response["Cache-Control"] = "private, no-cache"
    patch_vary_headers(response, ("Accept", "Authorization", "Cookie"))
    return response


def described(operation_id: str) -> Callable[[type[View]], type[View]]:
    """Describe an answer's view in the document: by its own docstring, and in every form that it has."""

    def describe(view: type[View]) -> type[View]:
        responses: dict[Any, Any] = {
            (200, form.media_type): _SHAPES.get(form.name, view.serializer)
            for form in FORMS
            if view.offers(form)
        }
        responses[304] = OpenApiResponse(description="What `If-None-Match` names is still the answer.")
        operation = extend_schema(
            operation_id=operation_id,
            description=inspect.cleandoc(view.__doc__ or ""),
            responses=responses,
        )
        return extend_schema_view(get=operation)(view)

    return describe

"""The benchmark's own addresses beside the real ones: views that do as little as a view can.

`bare` is a plain Django view behind the same server and middleware that asks who it is, whether they are a
member, and one indexed read; `bare_insert` inserts one row instead; `nothing` asks nobody.
"""

import json
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.urls import path
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from rest_framework.request import Request

from analytics.models import FitRun
from api.authentication import TokenAuthentication
from api.urls import handler400, handler403, handler404, handler500
from api.urls import urlpatterns as real
from clubdata.models import Peg, Return
from clubdata.services.members import membership

__all__ = ["handler400", "handler403", "handler404", "handler500", "urlpatterns"]


def bare(request: HttpRequest, slug: str, size: int) -> HttpResponse:
    found = TokenAuthentication().authenticate(Request(request))
    assert found is not None
    who = membership(actor=found[0], slug=slug)
    run = FitRun.objects.filter(club=who.club, promoted=True).values_list("uid").get()
    response = HttpResponse(b" " * size, content_type="application/json")
    response["ETag"] = f'"{run[0]}"'
    return response


@csrf_exempt
@transaction.atomic
def bare_insert(request: HttpRequest, slug: str) -> HttpResponse:
    """Asks who it is and whether they are a member, reads the body, and inserts one row."""
    found = TokenAuthentication().authenticate(Request(request))
    assert found is not None
    who = membership(actor=found[0], slug=slug)
    said = json.loads(request.body)
    peg = Peg.objects.get(club=who.club, label=said["peg"], water__name=said["water"])
    row = Return.objects.create(
        club=who.club,
        member=who.member,
        water_id=peg.water_id,
        peg=peg,
        session_kind="pleasure",
        fished_on=date.fromisoformat(said["fished_on"]),
        hours=Decimal(said["hours"]),
        outcome="blank",
        weight_g=0,
        entered_by=found[0],
        entered_at=timezone.now(),
    )
    return HttpResponse(json.dumps({"uid": str(row.uid)}), content_type="application/json", status=201)


def nothing(_request: HttpRequest, size: int) -> HttpResponse:
    return HttpResponse(b" " * size, content_type="application/json")


urlpatterns = [
    path("bare/<slug:slug>/<int:size>/", bare),
    path("bare-insert/<slug:slug>/", bare_insert),
    path("nothing/<int:size>/", nothing),
    *real,
]

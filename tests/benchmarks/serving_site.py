"""The benchmark's own addresses beside the real ones: views that do as little as a view can.

`bare` is a plain Django view behind the same server and middleware that asks who it is, whether they are a
member, and one indexed read; `nothing` asks nobody. Both send as many bytes as the address says.
"""

from django.http import HttpRequest, HttpResponse
from django.urls import path
from rest_framework.request import Request

from analytics.models import FitRun
from api.authentication import TokenAuthentication
from api.urls import handler400, handler403, handler404, handler500
from api.urls import urlpatterns as real
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


def nothing(_request: HttpRequest, size: int) -> HttpResponse:
    return HttpResponse(b" " * size, content_type="application/json")


urlpatterns = [
    path("bare/<slug:slug>/<int:size>/", bare),
    path("nothing/<int:size>/", nothing),
    *real,
]

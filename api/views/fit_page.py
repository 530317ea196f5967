"""The page of a fit, to read, to print or to append to a report."""

import importlib
import uuid
from base64 import b64encode
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from django.http import HttpResponse
from django.template.loader import render_to_string
from drf_spectacular.utils import extend_schema
from rest_framework.renderers import JSONRenderer, StaticHTMLRenderer
from rest_framework.request import Request

from analytics.answers.fit_report import fit_report
from api.forms.charts.base import Chart
from api.forms.plain import plain
from api.forms.width import Width
from api.pages import page_policy
from api.views.base import ClubView
from api.views.fit_charts import fit_charts
from api.views.fits import visible_fit
from clubdata.errors import Conflict
from clubdata.services.members import FITS, NAMES_INFLUENTIAL_RETURNS

# Loaded when a page is first asked for: it weighs more than the rest of the web process.
_DRAWING: Final = "api.forms.drawing.pictures"


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart in the page: a source for a phone, one for print, and words for those who hear it."""

    phone: str
    page: str
    words: str


class FitPageView(ClubView):
    """A fit in words and charts: one HTML document that needs nothing from outside."""

    roles = {"GET": (FITS, "look into a fit")}
    renderer_classes = [JSONRenderer, StaticHTMLRenderer]

    @extend_schema(exclude=True)
    def get(self, _request: Request, uid: uuid.UUID, **_: Any) -> HttpResponse:
        """By the job's uid, or by that of the run that advice names."""
        fit = visible_fit(self.who, uid)
        run = getattr(fit, "fit_run", None)
        if run is None:
            raise Conflict("This fit has no run to tell of: it has not come out, or is no longer kept.")
        report = fit_report(run, names_returns=self.who.may(NAMES_INFLUENTIAL_RETURNS))
        style = render_to_string("api/fit_page.css")
        content = {
            "club": self.who.club.name,
            "report": report,
            "run": run,
            "pictures": [_picture(chart) for chart in fit_charts(report)],
            "style": style,
            "printed_at": self.now,
        }
        response = HttpResponse(render_to_string("api/fit_page.html", content))
        response["Content-Security-Policy"] = page_policy(style)
        response["Cache-Control"] = "private"
        response["X-Content-Type-Options"] = "nosniff"
        return response


@lru_cache(maxsize=24)
def _picture(chart: Chart) -> Picture:
    drawing = importlib.import_module(_DRAWING)
    phone, page = (
        "data:image/svg+xml;base64," + b64encode(drawing.picture(chart, "svg", width)).decode()
        for width in (Width.PHONE, Width.PRINT)
    )
    return Picture(phone, page, plain(f"{chart.title}. {chart.sentences}"))

"""Fits of the catch model: asked for, watched, looked into."""

import uuid
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from analytics.requests import request_fit
from api.pagination import Keyset, PageQuery
from api.serializers.fits import FitDetailSerializer, FitSerializer
from api.serializers.jobs import JobSerializer
from api.serializers.shapes import page_of
from api.views.base import ClubView
from api.views.jobs import accepted
from clubdata.errors import NotFound
from clubdata.models import Job, JobKind
from clubdata.services.members import FITS, NAMES_INFLUENTIAL_RETURNS, Membership

# Large columns that no list shows.
UNSHOWN = ("covariance", "support", "observed", "spec", "deviances", "reference")


def visible_fits(who: Membership) -> QuerySet[Job]:
    """The club's fits with their runs."""
    fits = Job.objects.visible_to(who.account).filter(club=who.club, kind=JobKind.FIT)
    return fits.select_related("club", "fit_run__club").defer(*(f"fit_run__{name}" for name in UNSHOWN))


def visible_fit(who: Membership, uid: uuid.UUID) -> Job:
    """The fit by its job's uid or by its run's, with its terms.

    :raises NotFound: the club has no such fit.
    """
    fits = visible_fits(who).prefetch_related("fit_run__terms")
    fit = fits.filter(Q(uid=uid) | Q(fit_run__uid=uid)).first()
    if fit is None:
        raise NotFound("There is no such fit.")
    return fit


class FitListView(ClubView):
    """The club's fits."""

    query = {"GET": PageQuery}
    roles = {"POST": (FITS, "ask for a fit")}
    order = Keyset(("-created_at", "-uid"))

    @extend_schema(operation_id="fits_list", responses=page_of(FitSerializer, "FitPage"))
    def get(self, request: Request, **_: Any) -> Response:
        """The latest first, whatever became of them. Open to every member: advice rests on them."""
        return self.page_response(request, visible_fits(self.who), self.order, FitSerializer)

    @extend_schema(operation_id="fits_request", request=None, responses={202: JobSerializer})
    def post(self, request: Request, **_: Any) -> Response:
        """Ask for a fit. While one waits, that one is the answer: two would do the same work."""
        with transaction.atomic():
            job = request_fit(club=self.who.club, actor=self.who.account, now=self.now)
            return accepted(request, job)


class FitDetailView(ClubView):
    """One fit."""

    roles = {"GET": (FITS, "look into a fit")}

    @extend_schema(operation_id="fits_read", responses=FitDetailSerializer)
    def get(self, _request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """By the job's uid, or by that of the run that advice names."""
        fit = visible_fit(self.who, uid)
        context = {"names_returns": self.who.may(NAMES_INFLUENTIAL_RETURNS)}
        return Response(FitDetailSerializer(fit, context=context).data)

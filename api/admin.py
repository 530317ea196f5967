"""The club's books for its officers, each limited to the clubs that they belong to.

Returns, jobs and fits are looked at here, not written: only their services raise a club's revision,
hold a lease or check a number.
"""

from typing import Any, ClassVar

from django import forms
from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.db.models import ForeignKey, Model, QuerySet
from django.forms.models import InlineForeignKeyField
from django.http import HttpRequest
from django.utils import timezone

from analytics.models import FitRun
from api.admin_places import RaisesPlacesRevision
from api.login_backend import CountedAdminForm
from clubdata import models
from clubdata.models.base import ClubQuerySet
from clubdata.rules.words import fold
from clubdata.services.accounts import revoke_token

admin.site.site_header = admin.site.site_title = "clubdata"
admin.site.index_title = "The club's books"
admin.site.login_form = CountedAdminForm

BY_CLUB: Any = ("club", admin.RelatedOnlyFieldListFilter)
BY_WATER: Any = ("water", admin.RelatedOnlyFieldListFilter)


class ClubForm(forms.ModelForm):  # type: ignore[type-arg]
    """Refuses a row that names another club's row, before the database does."""

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        club = cleaned.get("club") or getattr(self.instance, "club", None)
        for name, value in list(cleaned.items()):
            if isinstance(value, Model) and getattr(value, "club_id", None) not in {None, club and club.pk}:
                self.add_error(name, "This belongs to another club.")
        return cleaned


class InlineForm(ClubForm):
    """A child's row: its club is the parent's, and is checked with the rest."""

    def clean(self) -> dict[str, Any]:
        self.instance.club_id = self._parent().club_id
        return super().clean()

    def _get_validation_exclusions(self) -> set[str]:
        excluded: set[str] = super()._get_validation_exclusions()  # type: ignore[misc]
        return excluded - {"club"} if self.instance.club_id else excluded

    def _parent(self) -> Any:
        fields = self.fields.values()
        return next(field.parent_instance for field in fields if isinstance(field, InlineForeignKeyField))

    def clean_folded(self) -> str:
        """Spellings are kept as they are looked up."""
        return fold(self.cleaned_data["folded"])


def _limited(rows: QuerySet[Any], request: HttpRequest) -> QuerySet[Any]:
    user: Any = request.user
    if user.is_superuser:
        return rows
    # What has no club, such as a login, reaches across clubs: none of it is an officer's.
    return rows.visible_to(user) if isinstance(rows, ClubQuerySet) else rows.none()


class Limited:
    """Rows and choices of the officer's own clubs."""

    def get_queryset(self, request: HttpRequest) -> QuerySet[Any]:
        return _limited(super().get_queryset(request), request)  # type: ignore[misc]

    def formfield_for_foreignkey(
        self, db_field: ForeignKey[Any, Any], request: HttpRequest, **kwargs: Any
    ) -> Any:
        kwargs.setdefault("queryset", _limited(db_field.remote_field.model._default_manager.all(), request))
        return super().formfield_for_foreignkey(db_field, request, **kwargs)  # type: ignore[misc]


class ClubAdmin(Limited, admin.ModelAdmin):  # type: ignore[type-arg]
    """Of one club at a time."""

    form = ClubForm
    list_filter = [BY_CLUB]
    list_select_related: ClassVar[Any] = True
    list_per_page = 50


class ReadOnly:
    """Looked at, never written."""

    def has_add_permission(self, *_: Any) -> bool:
        return False

    def has_change_permission(self, *_: Any) -> bool:
        return False

    def has_delete_permission(self, *_: Any) -> bool:
        return False


class Rows(Limited, admin.TabularInline):  # type: ignore[type-arg]
    """Children of a row, without their club."""

    form = InlineForm
    exclude = ["club"]
    extra = 0


def _rows(model: type[Model], *, fields: list[str] | None = None) -> type[Rows]:
    return type(f"{model.__name__}Rows", (Rows,), {"model": model, "fields": fields})


def _shown_rows(model: type[Model], *fields: str) -> type[Rows]:
    return type(f"{model.__name__}Rows", (ReadOnly, Rows), {"model": model, "fields": list(fields)})


@admin.register(models.Club)
class ClubsAdmin(RaisesPlacesRevision, Limited, admin.ModelAdmin):  # type: ignore[type-arg]
    list_display = ["name", "slug", "time_zone", "revision"]
    search_fields = ["name", "slug"]
    readonly_fields = ["revision", "places_revision"]

    def save_model(self, _request: HttpRequest, obj: Model, form: Any, change: bool) -> None:
        """A counter that was raised since the page was opened is not set back."""
        obj.save(update_fields=form.changed_data if change else None)


@admin.register(models.Member)
class MemberAdmin(ClubAdmin):
    list_display = ["number", "name", "club", "joined_on", "left_on"]
    list_filter = [BY_CLUB, "roles__role", ("left_on", admin.EmptyFieldListFilter)]
    search_fields = ["number", "name"]
    raw_id_fields = ["account"]
    inlines = [_rows(models.MemberRole)]

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> Any:
        """Which login a member has is a superuser's to say: a login reaches across clubs."""
        shown = super().get_readonly_fields(request, obj)
        return shown if getattr(request.user, "is_superuser", False) else [*shown, "account"]


@admin.register(models.Water)
class WaterAdmin(RaisesPlacesRevision, ClubAdmin):
    list_display = ["name", "kind", "club", "latitude", "longitude"]
    list_filter = [BY_CLUB, "kind"]
    search_fields = ["name"]
    inlines = [_rows(models.WaterEvent)]


@admin.register(models.Peg)
class PegAdmin(RaisesPlacesRevision, ClubAdmin):
    list_display = ["label", "water", "bank", "bank_order", "depth_cm", "accessible", "in_use"]
    list_filter = [
        BY_CLUB,
        BY_WATER,
        "in_use",
        "accessible",
        ("hazards", admin.EmptyFieldListFilter),
    ]
    search_fields = ["=label", "water__name"]
    ordering = ["water", "bank", "bank_order"]
    inlines = [_rows(models.PegHazard), _rows(models.PegDepth)]


class WordAdmin(RaisesPlacesRevision, ClubAdmin):
    """A word with its spellings."""

    list_display = ["name", "club"]
    search_fields = ["name", "spellings__folded"]


for _word, _spelling in (
    (models.Method, models.MethodSpelling),
    (models.RigType, models.RigTypeSpelling),
    (models.HookBait, models.HookBaitSpelling),
    (models.Feed, models.FeedSpelling),
    (models.Species, models.SpeciesSpelling),
):
    admin.site.register(
        _word,
        type(f"{_word.__name__}Admin", (WordAdmin,), {"inlines": [_rows(_spelling, fields=["folded"])]}),
    )


@admin.register(models.Match)
class MatchAdmin(RaisesPlacesRevision, ClubAdmin):
    list_display = ["code", "title", "water", "held_on", "club"]
    list_filter = [BY_CLUB, BY_WATER]
    search_fields = ["code", "title"]
    date_hierarchy = "held_on"


@admin.register(models.Return)
class ReturnAdmin(ReadOnly, ClubAdmin):
    list_display = ["fished_on", "member", "water", "peg", "session_kind", "outcome", "weight_g", "hours"]
    list_filter = [
        BY_CLUB,
        BY_WATER,
        "session_kind",
        "outcome",
        "source",
    ]
    search_fields = ["=member__number", "=match__code", "=peg__label"]
    date_hierarchy = "fished_on"
    list_select_related = ["member", "water", "peg"]
    inlines = [
        _shown_rows(
            models.SessionPart,
            "part_order",
            "method",
            "hook_bait",
            "feed",
            "rig_type",
            "distance_m",
            "weight_g",
        ),
        _shown_rows(models.CatchLine, "species", "fish_count", "weight_g", "biggest_g", "lost_count"),
    ]


@admin.register(models.Job)
class JobAdmin(ReadOnly, ClubAdmin):
    list_display = ["created_at", "kind", "state", "club", "attempt", "progress_step", "reason"]
    list_filter = [BY_CLUB, "kind", "state"]
    search_fields = ["=uid", "reason_code"]
    # Where an upload lies is nobody's business.
    exclude = ["payload"]


@admin.register(FitRun)
class FitRunAdmin(ReadOnly, ClubAdmin):
    list_display = [
        "fitted_at",
        "club",
        "promoted",
        "verdict",
        "rows_used",
        "blanks",
        "did_not_weigh",
        "first_on",
        "last_on",
        "converged",
    ]
    list_filter = [BY_CLUB, "promoted", "verdict", "converged"]
    search_fields = ["=uid", "=fingerprint"]
    fields = [
        *(
            "club",
            "fitted_at",
            "promoted",
            "promoted_at",
            "verdict",
            "verdict_reason",
            "revision",
            "fingerprint",
            "first_on",
            "last_on",
        ),
        *("rows_used", "blanks", "bounded", "estimated", "several_parts", "did_not_weigh", "rows_left_out"),
        *("power", "power_se", "dispersion", "estimated_dispersion", "edf", "deviance", "criterion"),
        *("converged", "gradient", "iterations", "seconds", "warm_from", "versions", "check_report"),
    ]


class SuperusersOnly:
    """Logins reach across clubs."""

    def has_module_permission(self, request: HttpRequest) -> bool:
        return bool(getattr(request.user, "is_superuser", False))

    def has_view_permission(self, request: HttpRequest, _row: Any = None) -> bool:
        return self.has_module_permission(request)

    has_change_permission = has_delete_permission = has_view_permission
    has_add_permission = has_module_permission


@admin.register(models.Account)
class AccountAdmin(SuperusersOnly, UserAdmin):  # type: ignore[type-arg]
    pass


@admin.register(models.AccessToken)
class AccessTokenAdmin(SuperusersOnly, admin.ModelAdmin):  # type: ignore[type-arg]
    """Devices and their dates; neither a key nor its digest."""

    list_display = ["account", "device", "created_at", "expires_at", "revoked_at"]
    list_filter = ["expires_at", ("revoked_at", admin.EmptyFieldListFilter)]
    search_fields = ["account__username", "device"]
    exclude = ["digest"]
    readonly_fields = ["account", "device", "created_at", "expires_at", "revoked_at"]
    actions = ["revoke"]

    def has_add_permission(self, _request: HttpRequest) -> bool:
        return False

    def has_delete_permission(self, _request: HttpRequest, _row: Any = None) -> bool:
        return False

    @admin.action(description="Revoke the keys of these devices")
    def revoke(self, _request: HttpRequest, tokens: QuerySet[models.AccessToken]) -> None:
        for token in tokens:
            revoke_token(token=token, now=timezone.now())

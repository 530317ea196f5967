"""The return: one angler's session, its parts, its catch and the conditions of the day.

Where a `SameClub` constraint checks a key together with the club, the key has no constraint of its own
(`db_constraint=False`): that would ask the database the same twice a row.
"""

from django.db import models
from django.db.models import F, Q

from clubdata.models.base import ClubQuerySet, ClubRecord, SameClub, unique_within_club
from clubdata.models.clubs import Account, Member
from clubdata.models.matches import Match
from clubdata.models.tackle import Feed, HookBait, Method, RigType, Species
from clubdata.models.waters import Peg, Water

MOST_HOURS = 48  # overnight sessions are normal
MOST_DISTANCE_M = 150
MOST_WEIGHT_G = 500_000


class SessionKind(models.TextChoices):
    MATCH = "match"
    PLEASURE = "pleasure"


class Outcome(models.TextChoices):
    """What is known of the total. Did not weigh is a weight that is not known: never a zero."""

    WEIGHED = "weighed"
    ESTIMATED = "estimated"
    COUNTED_ONLY = "counted_only", "counted only"
    OVER_NET_LIMIT = "over_net_limit", "over the net limit"
    BLANK = "blank"
    DID_NOT_WEIGH = "did_not_weigh", "did not weigh"
    DID_NOT_FISH = "did_not_fish", "did not fish"


class Source(models.TextChoices):
    FORM = "form"
    SHEET = "sheet"
    MEMORY = "memory", "from memory"


WITH_WEIGHT = (Outcome.WEIGHED, Outcome.ESTIMATED, Outcome.OVER_NET_LIMIT)
WITHOUT_WEIGHT = (Outcome.COUNTED_ONLY, Outcome.DID_NOT_WEIGH, Outcome.DID_NOT_FISH)


ClubManager = models.Manager.from_queryset(ClubQuerySet)


class ReturnManager(ClubManager):  # type: ignore[type-arg]
    """Returns as they stand: what was removed is a tombstone and not among them."""

    def get_queryset(self) -> ClubQuerySet:
        standing: ClubQuerySet = super().get_queryset().filter(removed_at__isnull=True)  # type: ignore[assignment]
        return standing


class Return(ClubRecord):
    """One angler's session on one peg, or roved over several.

    `version` grows with every change and is what a phone's If-Match names. A `guest` is somebody unnamed
    whom the member brought.
    `weight_g` is to the nearest gram; `weight_typed` is as the angler wrote it, and `weight_unit` with
    `weight_step` (how many of that unit the scale told apart) say how finely it was weighed: sums and
    ties go by those. `sheet_key` is the identity of an imported row (`clubdata.intake.staging`).
    """

    member = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="returns", db_constraint=False)
    water = models.ForeignKey(Water, on_delete=models.PROTECT, related_name="returns", db_constraint=False)
    peg = models.ForeignKey(
        Peg, on_delete=models.PROTECT, null=True, blank=True, related_name="returns", db_constraint=False
    )
    match = models.ForeignKey(
        Match, on_delete=models.PROTECT, null=True, blank=True, related_name="returns", db_constraint=False
    )
    session_kind = models.CharField(max_length=8, choices=SessionKind.choices)
    fished_on = models.DateField()
    started_at = models.TimeField(null=True, blank=True)
    hours = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    rods = models.PositiveSmallIntegerField(default=1)
    outcome = models.CharField(max_length=14, choices=Outcome.choices)
    weight_g = models.PositiveIntegerField(null=True, blank=True)
    weight_typed = models.CharField(max_length=40, blank=True)
    weight_unit = models.CharField(max_length=8, blank=True)
    weight_step = models.DecimalField(max_digits=12, decimal_places=6, null=True, blank=True)
    fish_count = models.PositiveIntegerField(null=True, blank=True)
    notes = models.CharField(max_length=1000, blank=True)
    source = models.CharField(max_length=6, choices=Source.choices, default=Source.FORM)
    sheet_key = models.CharField(max_length=32, null=True, blank=True)  # noqa: DJ001 - null is 'not from a sheet'
    entered_by = models.ForeignKey(
        Account, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    entered_at = models.DateTimeField()
    roved = models.BooleanField(default=False, db_default=False)
    guest = models.BooleanField(default=False, db_default=False)
    version = models.PositiveIntegerField(default=1, db_default=1)
    changed_at = models.DateTimeField(null=True, blank=True)
    looked_at_version = models.PositiveIntegerField(
        default=0, db_default=0, help_text="The version that was last held against a fit."
    )
    removed_at = models.DateTimeField(null=True, blank=True)
    removed_by = models.ForeignKey(
        Account, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    objects = ReturnManager()  # type: ignore[misc]
    with_removed = ClubQuerySet.as_manager()

    class Meta:
        ordering = ["-fished_on", "-id"]
        indexes = [
            models.Index(fields=["club", "-fished_on", "-id"], name="return_by_day"),
            models.Index(fields=["club", "member", "-fished_on"], name="return_by_member"),
        ]
        constraints = [
            unique_within_club("return"),
            SameClub(field="member", name="return_same_club_member"),
            SameClub(field="water", name="return_same_club_water"),
            SameClub(field="peg", name="return_same_club_peg"),
            SameClub(field="peg", shared="water", name="return_peg_on_its_water"),
            SameClub(field="match", name="return_same_club_match"),
            SameClub(field="match", shared="water", name="return_match_on_its_water"),
            models.UniqueConstraint(
                fields=["club", "sheet_key"],
                condition=Q(sheet_key__isnull=False),
                name="return_sheet_key_once_a_club",
            ),
            models.CheckConstraint(
                condition=Q(session_kind__in=SessionKind.values), name="return_session_kind_known"
            ),
            models.CheckConstraint(condition=Q(outcome__in=Outcome.values), name="return_outcome_known"),
            models.CheckConstraint(condition=Q(source__in=Source.values), name="return_source_known"),
            models.CheckConstraint(
                condition=Q(session_kind=SessionKind.MATCH) | Q(match__isnull=True),
                name="return_pleasure_has_no_match",
            ),
            # A check that comes out unknown passes, so what may not be null says so.
            models.CheckConstraint(
                condition=(Q(outcome=Outcome.DID_NOT_FISH) & Q(hours__isnull=True))
                | (
                    ~Q(outcome=Outcome.DID_NOT_FISH)
                    & Q(hours__isnull=False, hours__gt=0, hours__lte=MOST_HOURS)
                ),
                name="return_hours_within_reason",
            ),
            models.CheckConstraint(condition=Q(rods__gte=1, rods__lte=4), name="return_one_to_four_rods"),
            models.CheckConstraint(
                condition=Q(
                    outcome__in=WITH_WEIGHT,
                    weight_g__isnull=False,
                    weight_g__gt=0,
                    weight_g__lte=MOST_WEIGHT_G,
                )
                | Q(outcome=Outcome.BLANK, weight_g__isnull=False, weight_g=0)
                | Q(outcome__in=WITHOUT_WEIGHT, weight_g__isnull=True),
                name="return_weight_agrees_with_outcome",
            ),
            models.CheckConstraint(
                condition=Q(outcome__in=WITH_WEIGHT, weight_step__isnull=False, weight_step__gt=0)
                & ~Q(weight_unit="")
                | Q(outcome__in=(Outcome.BLANK, *WITHOUT_WEIGHT), weight_step__isnull=True, weight_unit=""),
                name="return_weight_says_how_weighed",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.fished_on} {self.uid}"


class SessionPart(ClubRecord):
    """One spell of a session on one bait, line and rig; most returns have one."""

    session = models.ForeignKey(Return, on_delete=models.CASCADE, related_name="parts", db_constraint=False)
    part_order = models.PositiveSmallIntegerField(default=1)
    method = models.ForeignKey(
        Method, on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_constraint=False
    )
    hook_bait = models.ForeignKey(
        HookBait, on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_constraint=False
    )
    feed = models.ForeignKey(
        Feed, on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_constraint=False
    )
    rig_type = models.ForeignKey(
        RigType, on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_constraint=False
    )
    distance_m = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    depth_cm = models.PositiveIntegerField(null=True, blank=True)
    hours = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    weight_g = models.PositiveIntegerField(null=True, blank=True)
    main_line_mm = models.DecimalField(max_digits=4, decimal_places=3, null=True, blank=True)
    hooklength_mm = models.DecimalField(max_digits=4, decimal_places=3, null=True, blank=True)
    hooklength_cm = models.PositiveSmallIntegerField(null=True, blank=True)
    hook_size = models.PositiveSmallIntegerField(null=True, blank=True)
    float_g = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)

    class Meta:
        ordering = ["session", "part_order"]
        constraints = [
            SameClub(field="session", name="session_part_same_club_session"),
            SameClub(field="method", name="session_part_same_club_method"),
            SameClub(field="hook_bait", name="session_part_same_club_hook_bait"),
            SameClub(field="feed", name="session_part_same_club_feed"),
            SameClub(field="rig_type", name="session_part_same_club_rig_type"),
            models.UniqueConstraint(fields=["session", "part_order"], name="session_part_order_once"),
            models.CheckConstraint(
                condition=Q(distance_m__isnull=True) | Q(distance_m__gte=0, distance_m__lte=MOST_DISTANCE_M),
                name="session_part_distance_plausible",
            ),
            models.CheckConstraint(
                condition=Q(hours__isnull=True) | Q(hours__gt=0, hours__lte=MOST_HOURS),
                name="session_part_hours_within_reason",
            ),
            models.CheckConstraint(
                condition=Q(weight_g__isnull=True) | Q(weight_g__lte=MOST_WEIGHT_G),
                name="session_part_weight_plausible",
            ),
        ]


class CatchLine(ClubRecord):
    """What was caught of one species; lost fish are counted apart."""

    session = models.ForeignKey(
        Return, on_delete=models.CASCADE, related_name="catch_lines", db_constraint=False
    )
    species = models.ForeignKey(Species, on_delete=models.PROTECT, related_name="+", db_constraint=False)
    fish_count = models.PositiveIntegerField(null=True, blank=True)
    weight_g = models.PositiveIntegerField(null=True, blank=True)
    biggest_g = models.PositiveIntegerField(null=True, blank=True)
    biggest_length_cm = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    lost_count = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            SameClub(field="session", name="catch_line_same_club_session"),
            SameClub(field="species", name="catch_line_same_club_species"),
            models.UniqueConstraint(fields=["session", "species"], name="catch_line_species_once"),
            models.CheckConstraint(
                condition=Q(biggest_g__isnull=True)
                | Q(weight_g__isnull=True)
                | Q(biggest_g__lte=F("weight_g")),
                name="catch_line_biggest_within_weight",
            ),
        ]


class Tow(models.TextChoices):
    """How the water moves; on a stillwater the wind makes it."""

    NONE = "none"
    SLIGHT = "slight"
    STEADY = "steady"
    STRONG = "strong"


class Conditions(ClubRecord):
    """The day as the angler found it, or as a weather provider had it where that is told (`filled`).

    Sun and Moon are computed, not asked.
    """

    session = models.OneToOneField(
        Return, on_delete=models.CASCADE, related_name="conditions", db_constraint=False
    )
    air_temperature_c = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    water_temperature_c = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    wind_force = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Beaufort")
    wind_from_degrees = models.PositiveSmallIntegerField(null=True, blank=True)
    cloud_oktas = models.PositiveSmallIntegerField(null=True, blank=True)
    pressure_hpa = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    rain_mm = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    tow = models.CharField(max_length=20, blank=True, choices=Tow.choices)
    clarity_cm = models.PositiveIntegerField(null=True, blank=True)
    level_cm = models.IntegerField(null=True, blank=True, help_text="Above or below normal")
    filled = models.JSONField(default=list, blank=True, help_text="The fields that nobody typed.")
    filled_from = models.CharField(
        max_length=60, blank=True, default="", help_text="Whose figures those are."
    )

    class Meta:
        verbose_name_plural = "conditions"
        constraints = [
            SameClub(field="session", name="conditions_same_club_session"),
            models.CheckConstraint(
                condition=Q(wind_force__isnull=True) | Q(wind_force__lte=12),
                name="conditions_wind_is_beaufort",
            ),
            models.CheckConstraint(condition=Q(tow__in=["", *Tow.values]), name="conditions_tow_known"),
            models.CheckConstraint(
                condition=Q(rain_mm__isnull=True) | Q(rain_mm__gte=0), name="conditions_rain_not_negative"
            ),
            models.CheckConstraint(
                condition=Q(wind_from_degrees__isnull=True) | Q(wind_from_degrees__lt=360),
                name="conditions_wind_direction_in_circle",
            ),
            models.CheckConstraint(
                condition=Q(cloud_oktas__isnull=True) | Q(cloud_oktas__lte=8),
                name="conditions_cloud_in_oktas",
            ),
            models.CheckConstraint(
                condition=Q(water_temperature_c__isnull=True)
                | Q(water_temperature_c__gte=-2, water_temperature_c__lte=40),
                name="conditions_water_temperature_plausible",
            ),
            models.CheckConstraint(
                condition=Q(air_temperature_c__isnull=True)
                | Q(air_temperature_c__gte=-40, air_temperature_c__lte=50),
                name="conditions_air_temperature_plausible",
            ),
            models.CheckConstraint(
                condition=Q(pressure_hpa__isnull=True) | Q(pressure_hpa__gte=850, pressure_hpa__lte=1100),
                name="conditions_pressure_plausible",
            ),
        ]

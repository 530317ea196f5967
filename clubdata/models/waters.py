"""Where it is fished: waters, the pegs along their banks, what is dangerous there, what happened."""

from django.db import models
from django.db.models import F, Q

from clubdata.models.base import ClubRecord, SameClub, unique_within_club, validate_time_zone


class WaterKind(models.TextChoices):
    STILLWATER = "stillwater"
    CANAL = "canal"
    RIVER = "river"


class Water(ClubRecord):
    """A water and its position; its time zone is the club's unless it says otherwise."""

    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=12, choices=WaterKind.choices)
    latitude = models.DecimalField(max_digits=8, decimal_places=5)
    longitude = models.DecimalField(max_digits=8, decimal_places=5)
    time_zone = models.CharField(max_length=60, blank=True, validators=[validate_time_zone])
    rules = models.JSONField(
        default=dict, blank=True, help_text="As `clubdata.rules.water_rules` reads them."
    )

    class Meta:
        constraints = [
            unique_within_club("water"),
            models.UniqueConstraint(fields=["club", "name"], name="water_name_once_a_club"),
            models.CheckConstraint(condition=Q(kind__in=WaterKind.values), name="water_kind_known"),
            models.CheckConstraint(
                condition=Q(latitude__gte=-90, latitude__lte=90, longitude__gte=-180, longitude__lte=180),
                name="water_position_on_earth",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Peg(ClubRecord):
    """A numbered swim. `label` is as painted: 12A exists, 13 may not. Neighbours follow `bank_order`."""

    water = models.ForeignKey(Water, on_delete=models.CASCADE, related_name="pegs")
    label = models.CharField(max_length=12)
    bank = models.CharField(max_length=40, blank=True, help_text="Pegs of different banks are no neighbours.")
    bank_order = models.PositiveIntegerField()
    depth_cm = models.PositiveIntegerField(null=True, blank=True)
    room_m = models.DecimalField(
        max_digits=5, decimal_places=1, null=True, blank=True, help_text="Bank to oneself."
    )
    accessible = models.BooleanField(default=False)
    access_note = models.CharField(max_length=200, blank=True)
    in_use = models.BooleanField(default=True)

    class Meta:
        constraints = [
            unique_within_club("peg"),
            SameClub(field="water", name="peg_same_club_water"),
            # Two targets of the composite keys of a return: its peg must lie on its water.
            models.UniqueConstraint(fields=["water", "id"], name="peg_water_id_key"),
            models.UniqueConstraint(fields=["water", "label"], name="peg_label_once_a_water"),
            models.UniqueConstraint(fields=["water", "bank", "bank_order"], name="peg_order_once_a_bank"),
            models.CheckConstraint(condition=Q(depth_cm__lte=10_000), name="peg_depth_plausible"),
        ]

    def __str__(self) -> str:
        return self.label


class PegDepth(ClubRecord):
    """The depth found on one line of a peg."""

    peg = models.ForeignKey(Peg, on_delete=models.CASCADE, related_name="depths")
    distance_m = models.DecimalField(max_digits=4, decimal_places=1)
    depth_cm = models.PositiveIntegerField()

    class Meta:
        constraints = [
            SameClub(field="peg", name="peg_depth_same_club_peg"),
            models.UniqueConstraint(fields=["peg", "distance_m"], name="peg_depth_once_a_line"),
            models.CheckConstraint(
                condition=Q(distance_m__gte=0, distance_m__lte=150), name="peg_depth_distance_plausible"
            ),
        ]


class PegHazard(ClubRecord):
    """Something dangerous at a peg, from the day it was noted until the day it was cleared."""

    peg = models.ForeignKey(Peg, on_delete=models.CASCADE, related_name="hazards")
    kind = models.CharField(max_length=60)
    noted_on = models.DateField()
    cleared_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            SameClub(field="peg", name="peg_hazard_same_club_peg"),
            models.UniqueConstraint(fields=["peg", "kind", "noted_on"], name="peg_hazard_once"),
            models.CheckConstraint(
                condition=Q(cleared_on__isnull=True) | Q(cleared_on__gte=F("noted_on")),
                name="peg_hazard_cleared_after_noted",
            ),
        ]

    def __str__(self) -> str:
        return self.kind


class WaterEventKind(models.TextChoices):
    STOCKING = "stocking"
    REMOVAL = "removal"
    FISH_KILL = "fish_kill", "fish kill"
    WORKS = "works"
    RULE_CHANGE = "rule_change", "rule change"


class WaterEvent(ClubRecord):
    """What happened to a water and may show in its returns."""

    water = models.ForeignKey(Water, on_delete=models.CASCADE, related_name="events")
    kind = models.CharField(max_length=12, choices=WaterEventKind.choices)
    started_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            SameClub(field="water", name="water_event_same_club_water"),
            models.CheckConstraint(
                condition=Q(kind__in=WaterEventKind.values), name="water_event_kind_known"
            ),
            models.CheckConstraint(
                condition=Q(ended_on__isnull=True) | Q(ended_on__gte=F("started_on")),
                name="water_event_ends_after_start",
            ),
        ]

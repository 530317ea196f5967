"""A club's own words: methods, rig types, hook baits, feeds and species, each with its spellings."""

from django.db import models

from clubdata.models.base import ClubRecord, SameClub, unique_within_club


class VocabularyEntry(ClubRecord):
    """A thing under the one name that the club settled on."""

    name = models.CharField(max_length=60)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return self.name


class Spelling(ClubRecord):
    """A way in which members write an entry, folded (`clubdata.rules.words.fold`), once a club and kind."""

    folded = models.CharField(max_length=60)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return self.folded


class Method(VocabularyEntry):
    """How it was fished: pole, whip, waggler, feeder …"""

    class Meta:
        constraints = [
            unique_within_club("method"),
            models.UniqueConstraint(fields=["club", "name"], name="method_name_once_a_club"),
        ]


class MethodSpelling(Spelling):
    entry = models.ForeignKey(Method, on_delete=models.CASCADE, related_name="spellings")

    class Meta:
        constraints = [
            SameClub(field="entry", name="method_spelling_same_club_entry"),
            models.UniqueConstraint(fields=["club", "folded"], name="method_spelling_once_a_club"),
        ]


class RigType(VocabularyEntry):
    """How the shot are set: tapered, bulk with droppers, …"""

    class Meta:
        constraints = [
            unique_within_club("rig_type"),
            models.UniqueConstraint(fields=["club", "name"], name="rig_type_name_once_a_club"),
        ]


class RigTypeSpelling(Spelling):
    entry = models.ForeignKey(RigType, on_delete=models.CASCADE, related_name="spellings")

    class Meta:
        constraints = [
            SameClub(field="entry", name="rig_type_spelling_same_club_entry"),
            models.UniqueConstraint(fields=["club", "folded"], name="rig_type_spelling_once_a_club"),
        ]


class HookBait(VocabularyEntry):
    """What was on the hook, with its colour, state (live, dead, soft, …) and size where they matter."""

    colour = models.CharField(max_length=30, blank=True)
    state = models.CharField(max_length=30, blank=True)
    size = models.CharField(max_length=30, blank=True)

    class Meta:
        constraints = [
            unique_within_club("hook_bait"),
            models.UniqueConstraint(fields=["club", "name"], name="hook_bait_name_once_a_club"),
        ]


class HookBaitSpelling(Spelling):
    entry = models.ForeignKey(HookBait, on_delete=models.CASCADE, related_name="spellings")

    class Meta:
        constraints = [
            SameClub(field="entry", name="hook_bait_spelling_same_club_entry"),
            models.UniqueConstraint(fields=["club", "folded"], name="hook_bait_spelling_once_a_club"),
        ]


class Feed(VocabularyEntry):
    """What was fed."""

    class Meta:
        constraints = [
            unique_within_club("feed"),
            models.UniqueConstraint(fields=["club", "name"], name="feed_name_once_a_club"),
        ]


class FeedSpelling(Spelling):
    entry = models.ForeignKey(Feed, on_delete=models.CASCADE, related_name="spellings")

    class Meta:
        constraints = [
            SameClub(field="entry", name="feed_spelling_same_club_entry"),
            models.UniqueConstraint(fields=["club", "folded"], name="feed_spelling_once_a_club"),
        ]


class Species(VocabularyEntry):
    """A fish: scientific name, FAO code where one exists, and the group in which the club counts it."""

    scientific_name = models.CharField(max_length=80, blank=True)
    fao_code = models.CharField(max_length=3, blank=True)
    group = models.CharField(max_length=30, blank=True)
    heaviest_g = models.PositiveIntegerField(
        null=True, blank=True, help_text="A heavier single fish is asked about."
    )

    class Meta:
        verbose_name_plural = "species"
        constraints = [
            unique_within_club("species"),
            models.UniqueConstraint(fields=["club", "name"], name="species_name_once_a_club"),
        ]


class SpeciesSpelling(Spelling):
    entry = models.ForeignKey(Species, on_delete=models.CASCADE, related_name="spellings")

    class Meta:
        constraints = [
            SameClub(field="entry", name="species_spelling_same_club_entry"),
            models.UniqueConstraint(fields=["club", "folded"], name="species_spelling_once_a_club"),
        ]

"""The club's own words with the spellings under which they are found."""

from typing import Any

from rest_framework import serializers

from api.serializers.shapes import NamedSerializer, OutputSerializer


class WordSerializer(NamedSerializer):
    """A method, a rig type or a feed."""

    spellings = serializers.SerializerMethodField()

    def get_spellings(self, entry: Any) -> list[str]:
        return sorted(spelling.folded for spelling in entry.spellings.all())


class HookBaitSerializer(WordSerializer):
    """A hook bait, with colour, state and size where they matter."""

    colour = serializers.CharField(allow_blank=True)
    state = serializers.CharField(allow_blank=True)
    size = serializers.CharField(allow_blank=True)


class SpeciesSerializer(WordSerializer):
    """A species: scientific name, FAO code where one exists, the group in which the club counts it."""

    scientific_name = serializers.CharField(allow_blank=True)
    fao_code = serializers.CharField(allow_blank=True)
    group = serializers.CharField(allow_blank=True)
    heaviest_g = serializers.IntegerField(
        allow_null=True, help_text="A heavier single fish is asked about; null for none."
    )


class VocabularySerializer(OutputSerializer):
    """All of a club's words."""

    methods = WordSerializer(many=True)
    rig_types = WordSerializer(many=True)
    hook_baits = HookBaitSerializer(many=True)
    feeds = WordSerializer(many=True)
    species = SpeciesSerializer(many=True)

"""The club's words."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.serializers.vocabulary import VocabularySerializer
from api.views.base import ClubView
from clubdata.services.lexicon import vocabulary_of


class VocabularyView(ClubView):
    """Methods, rig types, hook baits, feeds and species."""

    @extend_schema(operation_id="vocabulary_read", responses=VocabularySerializer)
    def get(self, _request: Request, **_: Any) -> Response:
        """Every word of the club's with its spellings: keep it on the phone for the bank side."""
        return Response(VocabularySerializer(vocabulary_of(self.who.club)).data)

"""What is shown quickly is what the serializers' base would have shown."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from uuid import uuid4

import numpy as np
import pytest
from rest_framework import serializers

from api.serializers.shapes import GramsField, OutputSerializer, PoundsOuncesField


class InnerSerializer(OutputSerializer):
    name = serializers.CharField()
    rate = serializers.FloatField(allow_null=True)


class WholeSerializer(OutputSerializer):
    uid = serializers.UUIDField()
    on = serializers.DateField(allow_null=True)
    at = serializers.DateTimeField()
    count = serializers.IntegerField()
    share = serializers.FloatField()
    known = serializers.BooleanField()
    kind = serializers.ChoiceField(choices=["one", "other"])
    words = serializers.ListField(child=serializers.CharField())
    left_out = serializers.DictField(child=serializers.IntegerField())
    inner = InnerSerializer(allow_null=True)
    inners = InnerSerializer(many=True)
    inner_name = serializers.CharField(source="first.name")
    itself = InnerSerializer(source="*")
    name = serializers.CharField()
    rate = serializers.FloatField()
    weight_g = GramsField()
    weight_lb_oz = PoundsOuncesField(source="weight_g")
    told = serializers.SerializerMethodField()
    asked = serializers.CharField()
    absent = serializers.CharField(required=False)
    usual = serializers.CharField(default="usual")
    secret = serializers.CharField(write_only=True)

    def get_told(self, answer: Any) -> str:
        return type(answer).__name__


@dataclass(frozen=True)
class Inner:
    name: str
    rate: float | None


class Whole:
    uid, on, at = uuid4(), None, datetime(2024, 6, 15, 12, tzinfo=UTC)
    count, share, known, kind = np.int64(7), np.float64(0.25), True, "one"
    words, left_out = ("a", "b"), {"no_peg": 3}
    inner, inners, first = None, (Inner("x", None), Inner("y", 2.0)), Inner("z", 1.0)
    name, rate, weight_g, secret = "heron", 1, 1234, "no"

    def asked(self) -> str:
        return "by a method"


def slowly(monkeypatch: pytest.MonkeyPatch, answer: Any) -> Any:
    with monkeypatch.context() as patch:
        patch.delattr(OutputSerializer, "to_representation")
        return WholeSerializer(answer).data


def test_every_kind_of_field_shows_what_its_base_shows(monkeypatch: pytest.MonkeyPatch) -> None:
    assert WholeSerializer.shape().to_representation(Whole()) == slowly(monkeypatch, Whole())


def test_a_mapping_is_shown_by_its_names(monkeypatch: pytest.MonkeyPatch) -> None:
    names = [name for name in vars(Whole) if not name.startswith("_")]
    answer = {name: getattr(Whole(), name) for name in names} | {"on": date(2024, 6, 15)}
    assert WholeSerializer.shape().to_representation(answer) == slowly(monkeypatch, answer)


def test_what_is_missing_is_told_as_its_base_tells_it() -> None:
    with pytest.raises(AttributeError, match="name"):
        InnerSerializer(object()).data  # noqa: B018


def test_one_shape_serves_all_answers_of_a_kind() -> None:
    assert WholeSerializer.shape() is WholeSerializer.shape() is not InnerSerializer.shape()

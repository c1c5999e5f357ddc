"""What filing a request is compared with: one view, one transaction, the same two main rows.

No key, no rule, no history, no letter: the least that a framework view does to store a filing.
"""

from __future__ import annotations

import uuid
from typing import Any

from django.db import transaction
from django.utils import timezone
from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.response import Response
from rest_framework.views import APIView

from returns.models import Colourway, Person, Request


class BareBody(serializers.Serializer[Any]):
    colourway = serializers.PrimaryKeyRelatedField(queryset=Colourway.objects.all())
    component = serializers.CharField(max_length=20)
    defect = serializers.CharField(max_length=20)
    note = serializers.CharField(max_length=500, allow_blank=True)
    wish = serializers.CharField(max_length=10)
    name = serializers.CharField(max_length=100)
    email = serializers.EmailField(max_length=254)
    street = serializers.CharField(max_length=120)
    postal_code = serializers.CharField(max_length=12)
    city = serializers.CharField(max_length=80)
    country = serializers.CharField(max_length=2)


PERSON = ("name", "email", "street", "postal_code", "city", "country")


class Bare(APIView):
    permission_classes = [AllowAny]

    def post(self, request: Any) -> Response:
        body = BareBody(data=request.data)
        body.is_valid(raise_exception=True)
        given = dict(body.validated_data)
        made = uuid.uuid4()
        with transaction.atomic():
            person = Person.objects.create(**{name: given.pop(name) for name in PERSON})
            row = Request.objects.create(
                reference=made.hex[:20],
                link_salt=made.hex,
                link_hash=made.hex,
                key=made,
                kind=Request.Kind.SEND_BACK,
                state="awaited",
                person=person,
                filed_at=timezone.now(),
                **given,
            )
        return Response({"reference": row.reference}, status=201)

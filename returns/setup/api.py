"""Tokens for machines. The owner makes them, signed in as a person: no token makes another."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.models import User
from django.utils.translation import gettext as _
from rest_framework import serializers

from inventory.errors import Forbidden, NotFound
from inventory.furniture.api.shapes import Body, Code, KnownCode, Moment
from inventory.furniture.api.views import ActionView, Listing
from inventory.models import AccessToken
from inventory.staff.rules import tokens


class TokenAnswer(serializers.Serializer[AccessToken]):
    """`handle` is how a token is spoken of; it opens nothing."""

    handle = serializers.SerializerMethodField()
    name = serializers.CharField()
    user = Code(by="username")
    scopes = serializers.ListField(child=serializers.CharField())
    created_at = Moment()
    expires_at = Moment()
    revoked_at = Moment(allow_null=True)

    def get_handle(self, token: AccessToken) -> str:
        return tokens.handle(token)


class IssuedAnswer(TokenAnswer):
    """`token` is shown once. A repeated request gets null: revoke it then, and make another."""

    token = serializers.CharField(source="text", allow_null=True)


class TokenBody(Body):
    name = serializers.CharField(max_length=tokens.NAME_LENGTH_MAX)
    user = KnownCode(
        lambda: User.objects.filter(is_active=True),
        by="username",
        required=False,
        allow_null=True,
        help_text="Whose roles it narrows; left out: your own.",
    )
    scopes = serializers.ListField(
        child=serializers.ChoiceField(choices=list(tokens.SCOPES)),
        min_length=1,
        max_length=len(tokens.SCOPES),
    )
    days = serializers.IntegerField(min_value=1, max_value=tokens.DAYS_MAX)


class Tokens(ActionView, Listing):
    """GET lists the tokens for machines, newest first; POST makes one.

    Its text stands in that one answer only. POST answers `bad-input` naming the field, and
    `forbidden` to a caller who is signed in by a token.
    """

    scope = "owner"
    serializer_class = TokenAnswer
    queryset = AccessToken.objects.select_related("user")
    body_class = TokenBody
    made_class = IssuedAnswer

    def perform(self, data: dict[str, Any]) -> AccessToken:
        refuse_token(self.request.auth)
        row, text = tokens.issue(
            key=self.action_key,
            name=data["name"],
            user=data.get("user") or self.by,
            scopes=data["scopes"],
            days=data["days"],
            at=self.at,
            by=self.by,
        )
        row.text = text  # type: ignore[attr-defined]
        return row

    def kept(self, answer: Any) -> Any:
        # What is kept to answer a repeat must not hold the secret: the database would then know it.
        return answer | {"token": None}


class Revocations(ActionView):
    """Revoke a token now. One that is revoked already stays so.

    Answers `not-found` for another handle, and `forbidden` to a caller who is signed in by a token.
    """

    scope = "owner"
    made_class = TokenAnswer
    made_status = 200

    def perform(self, _data: dict[str, Any]) -> AccessToken:
        refuse_token(self.request.auth)
        row = self._row()
        tokens.revoke(token=row, at=self.at, by=self.by)
        return self._row()

    def _row(self) -> AccessToken:
        handle = self.kwargs["handle"]
        rows = AccessToken.objects.select_related("user").filter(digest__startswith=handle)
        # A shorter beginning would fit several tokens and end whichever came first.
        row = rows.first() if len(handle) == tokens.HANDLE_LENGTH else None
        if row is None:
            raise NotFound()
        return row


def refuse_token(auth: object) -> None:
    if isinstance(auth, AccessToken):
        raise Forbidden(_("Sign in as a person for this: a token cannot make or end tokens."))

"""A passkey, made and shown with an authenticator that Chromium itself plays."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django_otp_webauthn.models import WebAuthnCredential
from playwright.sync_api import Page, expect

from inventory.models import SignIn
from tests.browser.conftest import Visitors
from tests.makers import PASSWORD, Shop

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def at_localhost(live_server: Any, settings: Any, open_visitors: Any) -> Visitors:
    """Browsers know no name in 127.0.0.1, and take localhost for safe."""
    address = str(live_server.url).replace("127.0.0.1", "localhost")
    settings.ALLOWED_HOSTS = ["*"]
    settings.PASSKEYS = True
    settings.OTP_WEBAUTHN_RP_ID = "localhost"
    settings.OTP_WEBAUTHN_ALLOWED_ORIGINS = [address]
    settings.SECOND_FACTOR_ROLES = ["owner"]
    visitors: Visitors = open_visitors()
    visitors.base = address
    return visitors


def give_authenticator(page: Page) -> None:
    devtools = page.context.new_cdp_session(page)
    devtools.send("WebAuthn.enable")
    kind = {"protocol": "ctap2", "transport": "internal", "hasResidentKey": True}
    more = {
        "hasUserVerification": True,
        "isUserVerified": True,
        "automaticPresenceSimulation": True,
    }
    devtools.send("WebAuthn.addVirtualAuthenticator", {"options": kind | more})


def enter(page: Page) -> None:
    page.goto("/enter/")
    page.get_by_label("Username").fill("olga")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Enter").click()


def test_an_owner_makes_a_passkey_and_enters_with_it(
    at_localhost: Visitors, shop: Shop, olga: User
) -> None:
    visitors = at_localhost
    page = visitors.page()
    give_authenticator(page)
    enter(page)
    expect(page.get_by_text("For your role a second factor is needed")).to_be_visible()
    page.get_by_role("button", name="Add a passkey").click()
    expect(page.get_by_text("You have no recovery codes left")).to_be_visible()
    assert WebAuthnCredential.objects.get().user == olga
    page.get_by_role("button", name="Leave").click()

    enter(page)
    page.get_by_role("button", name="Show my passkey").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Good to see you")
    assert SignIn.objects.filter(user=olga, what=SignIn.What.PROVED).exists()

    # Somebody with the password and another device gets no further.
    stranger = visitors.page()
    give_authenticator(stranger)
    enter(stranger)
    stranger.get_by_role("button", name="Show my passkey").click()
    expect(stranger.locator("#passkey-verification-status-message")).not_to_be_empty()
    stranger.goto("/desk/")
    expect(stranger.get_by_role("heading", level=1)).to_contain_text("One more proof")
    visitors.expect_complaint("NotAllowedError")

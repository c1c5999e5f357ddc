"""A hand scanner at a page: true key presses, 2 ms apart by their own clock, and Enter.

The moment is sent with each key, so that a stalling machine makes no slow hand of the scanner.
"""

from __future__ import annotations

from typing import Any
from weakref import WeakKeyDictionary

from playwright.sync_api import CDPSession, Page

KEY_S = 0.002
ENTER = {"key": "Enter", "code": "Enter", "windowsVirtualKeyCode": 13, "text": "\r"}
_sessions: WeakKeyDictionary[Page, CDPSession] = WeakKeyDictionary()


def scan(page: Page, code: str, *, key_s: float = KEY_S) -> None:
    """Type a code and press Enter, wherever the focus is."""
    session = _sessions.get(page)
    if session is None:
        session = _sessions[page] = page.context.new_cdp_session(page)
    # The browser's own clock: the tests' one stands elsewhere.
    at = page.evaluate("Date.now()") / 1000
    for sign in code:
        _press(session, {"key": sign, "text": sign}, at)
        at += key_s
    _press(session, ENTER, at)


def _press(session: CDPSession, key: dict[str, Any], at: float) -> None:
    session.send("Input.dispatchKeyEvent", {"type": "keyDown", "timestamp": at, **key})

"""Asks the web process beside it whether it is alive, as the proxy would. Ends with 0 if it is."""

from __future__ import annotations

import http.client
import os


def main() -> None:
    host = os.environ["HINGEBACK_ALLOWED_HOSTS"].split(",")[0].strip()
    headers = {"Host": host, "X-Forwarded-Proto": "https"}
    asked = http.client.HTTPConnection("127.0.0.1", 8000, timeout=5)
    asked.request("GET", "/alive/", headers=headers)
    raise SystemExit(asked.getresponse().status != 200)


if __name__ == "__main__":
    main()

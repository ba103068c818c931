"""What a browser asked the network for, by its own record, which holds what service workers ask for too."""

import json
from pathlib import Path
from typing import Any


def record_flags(log: Path) -> tuple[str, ...]:
    """Flags for a Chromium that writes its record to `log`; it is whole once the browser was closed."""
    return (f"--log-net-log={log}", "--net-log-capture-mode=IncludeSensitive")


def asked_by(origin: str, log: Path) -> list[str]:
    """Every address that pages and workers of `origin` asked for, in order. What the browser asks on its own account has no origin."""
    record = json.loads(log.read_text(encoding="utf-8"))
    start = record["constants"]["logEventTypes"]["URL_REQUEST_START_JOB"]
    said: list[dict[str, Any]] = [event.get("params", {}) for event in record["events"] if event["type"] == start]
    return [each["url"] for each in said if each.get("initiator") == origin]


def received(log: Path) -> int:
    """Bytes that came in on all sockets, headers included."""
    record = json.loads(log.read_text(encoding="utf-8"))
    kind = record["constants"]["logEventTypes"]["SOCKET_BYTES_RECEIVED"]
    return sum(event["params"]["byte_count"] for event in record["events"] if event["type"] == kind)

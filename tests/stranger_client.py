"""A phone app written from server/sync/PROTOCOL.md alone, on top of `stranger.py`: what it does and says at every status of that page."""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial

from tests.stranger import Reply, Stranger

MOST_AT_ONCE = 20
FIRST_WAIT = timedelta(seconds=30)
NO_ANSWER = Reply(0, None)


@dataclass
class Client:
    """`waiting` is sent by itself, `kept` is not, and is told to the person with its reason; nothing else holds an envelope.

    `clock` is the phone's own. `problem` is what `open` or `send` met last, None when all went well.
    """

    phone: Stranger
    clock: Callable[[], datetime]
    waiting: list[str] = field(default_factory=list)
    kept: dict[str, str] = field(default_factory=dict)
    problem: str | None = None
    not_before: datetime | None = None
    tries_in_vain: int = 0

    def open(self) -> str | None:
        """The state of the link, or None where the answer does not tell it and `problem` says why."""
        reply = self._ask(self.phone.ask_due)
        if reply is None:
            return None
        if reply.status == 413:
            self.problem = "client_fault"
            return None
        return "check" if reply.status == 403 else str(reply.body["state"])

    @property
    def asked(self) -> list[str]:
        """The forms that the person is asked for. Those of `held` a person at the clinic looks at already."""
        return [form["form_id"] for form in self.phone.sheet["forms"] if form["form_id"] not in self.held]

    @property
    def held(self) -> list[str]:
        return list(self.phone.sheet["held"])

    def send(self) -> None:
        """All that waits, in as few posts as the server takes."""
        at_once = MOST_AT_ONCE
        while self.waiting:
            some = self.waiting[:at_once]
            reply = self._ask(partial(self.phone.upload, some))
            if reply is None:
                return
            if reply.status == 200:
                self._settle(some, reply)
            elif len(some) > 1:
                at_once = len(some) // 2
            else:
                self._keep(some[0], "too_large")

    def _settle(self, sent: Sequence[str], reply: Reply) -> None:
        for envelope, receipt in zip(sent, reply.body["receipts"], strict=True):
            if receipt["status"] == "refused":
                self._keep(envelope, receipt["reason"])
            elif receipt["sha256"] != hashlib.sha256(envelope.encode()).hexdigest():
                self._keep(envelope, "other_hash")
            else:
                self.waiting.remove(envelope)

    def _keep(self, envelope: str, reason: str) -> None:
        self.waiting.remove(envelope)
        self.kept[envelope] = reason

    def _ask(self, request: Callable[[], Reply]) -> Reply | None:
        """The reply, or None: not asked yet since it is too early, or answered by what only time or another client can mend."""
        if self.problem == "client_fault" or (self.not_before and self.clock() < self.not_before):
            return None
        try:
            reply = request()
        except OSError:
            reply = NO_ANSWER
        if reply.status in (200, 403, 413):
            self.problem, self.not_before, self.tries_in_vain = None, None, 0
            return reply
        if reply.status in (405, 422):
            self.problem = "client_fault"
        elif reply.status == 503 and reply.retry_after is not None:
            self._wait(reply.body["code"], timedelta(seconds=int(reply.retry_after)))
        else:
            self._wait("no_answer", FIRST_WAIT * 2**self.tries_in_vain)
            self.tries_in_vain += 1
        return None

    def _wait(self, problem: str, how_long: timedelta) -> None:
        self.problem, self.not_before = problem, self.clock() + how_long

"""An invented patient answers: on the phone, sealed and sent, or to the nurse, who enters it. What staff try meanwhile."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import partial
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from scoring.library import Library
from server.clinic import lost
from server.clinic.contact import record_attempt, settle_flag
from server.clinic.reported_events import event_of_answer, reportable
from server.demo.answers import Value, Wanted, draw_parts, stamp_parts
from server.demo.chance import draw_fate
from server.demo.phone import OpenedForm, Phone
from server.demo.simulation import Invited, Simulation
from server.demo.stories import Fate, OperationStory, PatientStory
from server.demo.traits import back_by, preferred
from server.fields.operation_words import KINDS
from server.forms.asked import asked_parts
from server.forms.stored import open_answers
from server.intake.enter import Entered, enter_form
from server.links.make import find_live_link
from server.links.publish import publish_sheet
from server.models import Flag, Patient, Response, Timepoint
from server.queries.facts import status_of
from server.queries.texts_in_force import Wording, read_wording
from server.schedule.preference import Operated, asks_preference, with_preference
from server.schedule.status import WAITING, Status
from server.schedule.timepoint_code import TimepointCode
from server.sync.due import wire_instant
from server.timepoints.plans import Plans, read_plans

BUILD = "demo"
SCREENS = ("360x640", "360x800", "393x852", "412x915", "768x1024")
KEPT_OPEN_DAYS = 14
LAST_REMINDER_DAYS = 23  # after the invitation; then staff call
PURSUED_ANSWER = 0.9  # of those drawn by lot, who are called until somebody answers
SILENT = Fate("none", called=True)
# What comes of a call, and how often, of those who answer in the end, of those who never do, of the lost.
OTHERS_SAY = ("no_answer", "left_message", "promised", "wrong_number"), (60, 22, 14, 4)
SILENT_SAY = (
    ("no_answer", "left_message", "promised", "wrong_number", "declined", "too_ill", "no_device", "language"),
    (44, 18, 10, 4, 10, 6, 5, 3),
)
LOST_SAY = ("no_answer", "left_message", "wrong_number"), (70, 18, 12)  # who is spoken to is not lost
LOST = "Two years without an answer, and the second contact person does not know either."
SETTLED = {
    "safety_answer": "called; seen at the clinic",
    "contact_change": "entered",
    "operated_elsewhere": "confirmed",
    "event_reported": "written down as reported",
    lost.KIND: LOST,
}


@dataclass(frozen=True)
class Printed:
    """What the forms that staff have before them ask, and in which words."""

    library: Library
    plans: Plans
    wording: Wording


def read_printed(session: Session, library: Library) -> Printed:
    return Printed(library, read_plans(session), read_wording(session, library))


@dataclass
class Answering:
    """Answers of one patient. `operations`: the story of each, by its id."""

    simulation: Simulation
    story: PatientStory
    patient_id: int
    operations: dict[int, OperationStory]
    asked: dict[str, Invited] = field(default_factory=dict)  # by form
    after_lot: dict[str, Callable[[], None]] = field(
        default_factory=dict
    )  # by form: what staff do once its lot is cast

    def invited(self, form: Invited) -> None:
        """What becomes of this form is drawn now; the acts that follow from it are planned."""
        self.asked[form.form_id] = form
        name = f"{form.side}/{form.code}" if form.attempt == 1 else f"{form.side}/{form.code}-{form.attempt}"
        random = Random(f"{self.story.seed}, {name}, {self.operations[form.operation_id].kind}")
        fate = self.story.fates.get(name) or draw_fate(
            random, self.story, form.code, self.ability(form.operation_id, form.code, form.invites_on)
        )
        if self.story.silent_from is not None and form.invites_on >= self.story.silent_from:
            fate = SILENT
        today, simulation = self.simulation.today, self.simulation
        on = max(today, form.invites_on + timedelta(days=fate.days))
        at = simulation.at(on, random.randint(9, 20), random.randint(0, 59))
        if fate.how == "phone":
            self._plan(at, partial(self._answer_on_phone, form, fate, random))
        elif fate.how == "late" and form.closes_on is not None:
            sent_at = simulation.at(form.closes_on + timedelta(days=fate.days), random.randint(9, 20))
            self._plan(
                simulation.at(today + timedelta(days=2), 20),
                partial(self._open_and_put_off, form, fate, random, sent_at),
            )
        elif fate.how == "paper":
            self._plan(simulation.office_time(on, random), partial(self._tell_staff, form, fate, random))
        if self.story.person.email is None:
            self._plan(simulation.office_time(today + timedelta(days=1), random), partial(self._post, form))
        if fate.how == "telephone" or (fate.how == "none" and fate.called):
            if self._waits_for_lot(name):
                self.after_lot[form.form_id] = partial(self._telephone_after_lot, form, fate, random)
            else:
                self._telephone(form, fate, random, today + timedelta(days=LAST_REMINDER_DAYS), on)

    def _waits_for_lot(self, name: str) -> bool:
        """Nobody is called before the lots are cast among the silent; whom a visitor is to find was called as that story has it."""
        in_the_frame = self.story.person.email is not None and {"contact", "research"} <= set(self.story.consents)
        after_surgery = not TimepointCode.parse(name.rpartition("/")[2]).is_before_surgery
        return in_the_frame and after_surgery and name not in self.story.fates

    def lot_cast(self, form_id: str, *, drawn: bool) -> None:
        """Whoever is drawn is pursued to the end; the others are called as all were before there were lots."""
        staff_do = self.after_lot.pop(form_id, None)
        if drawn:
            self._pursue(form_id)
        elif staff_do is not None:
            staff_do()

    def _plan(self, at: datetime, act: Callable[[], None]) -> None:
        """What the patient does; nothing once they are dead, have moved or want no more of it, whether or not the clinic has heard."""
        if not self._gone_by(self.simulation.day(at)):
            self.simulation.plan(at, act)

    def _gone_by(self, day: date) -> bool:
        end = self.story.end
        return end is not None and end.ends_all and end.on <= day

    def phone(self, *, wrong_birth_date: bool = False) -> Phone | None:
        """With the patient's link; None when the patient has none that lives."""
        store = self.simulation.runtime.store
        with store.reading() as session:
            patient = session.get_one(Patient, self.patient_id)
            link = find_live_link(session, patient)
            if link is None or link.token is None:
                return None
            born_on = patient.birth_on - timedelta(days=wrong_birth_date)
        return Phone(store, link.token, born_on)

    def payload(self, opened: OpenedForm, fate: Fate, random: Random, *, begun_at: datetime) -> dict[str, Any]:
        """The whole form, answered from `begun_at` on."""
        asked = self.asked[opened.form["form_id"]]
        parts = draw_parts(
            self.simulation.runtime.library,
            opened.asked,
            opened.text_ids,
            self.wanted(asked.operation_id, asked.code, self.simulation.day(begun_at), fate.extra),
            random,
        )
        offset = begun_at.astimezone(ZoneInfo(self.simulation.time_zone)).utcoffset() or timedelta(0)
        return {
            "format": 1,
            "form_id": opened.form["form_id"],
            "sheet_revision": opened.sheet["revision"],
            "language": opened.sheet["patient"]["language"],
            "build": BUILD,
            "opened_at": wire_instant(begun_at),
            "finished_at": wire_instant(stamp_parts(parts, begun_at, random)),
            "utc_offset_minutes": int(offset.total_seconds() // 60),
            "time_zone": self.simulation.time_zone,
            "clock_skew_ms": random.randint(-4000, 4000),
            "mode": "own_phone",
            "answered_by": "patient" if random.random() < 0.93 else "patient_with_help",
            "device": {"screen": random.choice(SCREENS), "browser": "other"},
            "parts": parts,
        }

    def wanted(self, operation_id: int, code: str, on: date, extra: Mapping[str, Value]) -> Wanted:
        """How the form of one shoulder is answered on a day. Of two operated ones the better is preferred."""
        operation, random = self.operations[operation_id], Random(f"{self.story.seed}, {on}, preference")
        by_side = {each.side: self.ability(key, code, on) for key, each in self.operations.items() if each.done_on}
        weeks = (on - operation.done_on).days / 7 if operation.done_on else 0.0
        back = back_by(f"{self.story.seed}, {operation.side}", weeks)
        return Wanted(self.ability(operation_id, code, on), {**back, **preferred(random, by_side), **extra})

    def ability(self, operation_id: int, code: str, on: date) -> float:
        operation = self.operations[operation_id]
        before_surgery = TimepointCode.parse(code).is_before_surgery or operation.done_on is None
        years = 0.0 if before_surgery or operation.done_on is None else (on - operation.done_on).days / 365.25
        return operation.recovery.ability(years)

    def _open(self, form: Invited) -> tuple[Phone, OpenedForm] | None:
        """The form on the phone; None when it is not asked any more, or the patient has left."""
        phone = self.phone()
        if phone is None:
            return None
        opened = next(
            (each for each in phone.open_forms(self.simulation.now) if each.form["form_id"] == form.form_id), None
        )
        return None if opened is None else (phone, opened)

    def _answer_on_phone(self, form: Invited, fate: Fate, random: Random) -> None:
        opened = self._open(form)
        if opened is not None:
            self._fill_in(*opened, fate, random)

    def _open_and_put_off(self, form: Invited, fate: Fate, random: Random, until: datetime) -> None:
        """The phone keeps the form and sends it after the window has closed."""
        opened = self._open(form)
        if opened is not None:
            self._plan(until, partial(self._fill_in, *opened, fate, random))

    def _fill_in(self, phone: Phone, opened: OpenedForm, fate: Fate, random: Random) -> None:
        payload = self.payload(opened, fate, random, begun_at=self.simulation.now)
        sent_at = datetime.fromisoformat(payload["finished_at"]) + timedelta(seconds=random.randint(2, 9))
        self.simulation.plan(sent_at, partial(self.send, phone, phone.seal(payload, opened.sheet)))

    def send(self, phone: Phone, envelope: str) -> None:
        """Posted; the next pass opens it, with whatever else has come."""
        phone.send(envelope, self.simulation.now)

    def _tell_staff(self, form: Invited, fate: Fate, random: Random) -> None:
        """By telephone, reached then, or on paper that was filled in some days before and came by post."""
        simulation, now = self.simulation, self.simulation.now
        simulation.open_envelopes()
        with simulation.runtime.store.writing() as session:
            row = session.get(Timepoint, form.timepoint_id)
            if row is None or not self._still_asked(row, fate):
                return
            if fate.how == "telephone":
                self._record_attempt(session, "reached")
            days_ago = 0 if fate.how == "telephone" else random.randint(1, 3)
            wanted = self.wanted(form.operation_id, form.code, simulation.today, fate.extra)
            enter_form(
                session,
                row,
                self.told_parts(
                    read_printed(session, simulation.runtime.library), row, form.operation_id, wanted, random
                ),
                Entered(
                    mode=fate.how,
                    answered_by="patient" if random.random() < 0.9 else "someone_else",
                    language=self.story.person.language,
                    answered_at=max(now - timedelta(days=days_ago), simulation.at(row.opens_on, 8)),
                    by_id=simulation.staff.nurse_id,
                ),
                library=simulation.runtime.library,
                keys=simulation.runtime.keys,
                now=now,
            )
            patient = session.get_one(Patient, self.patient_id)
            publish_sheet(session, patient, library=simulation.runtime.library, now=now, today=simulation.today)

    def _still_asked(self, row: Timepoint, fate: Fate) -> bool:
        """A questionnaire before surgery that comes back on paper after it is entered too; it is told apart as recalled."""
        status = status_of(row, self.simulation.today)
        return status in WAITING or (
            fate.how == "paper" and TimepointCode.parse(row.code).is_before_surgery and status == Status.MISSED
        )

    def told_parts(
        self, printed: Printed, row: Timepoint, operation_id: int, wanted: Wanted, random: Random
    ) -> list[dict[str, Any]]:
        """Of a form that staff have before them; it asks of the preferred shoulder where a phone would."""
        library, language, wording = printed.library, self.story.person.language, printed.wording
        parts = printed.plans.entry(row).parts
        done = [
            Operated(key, each.side, each.done_on, followed=KINDS[each.kind].starts_follow_up)
            for key, each in self.operations.items()
            if each.done_on is not None
        ]
        asks = asks_preference(row.code, row.opens_on, operation_id, done)
        asked = asked_parts(library, with_preference(parts) if asks else parts)
        text_ids = {part.instrument: wording.texts(part.instrument, language)[language]["text_id"] for part in asked}
        return draw_parts(library, asked, text_ids, wanted, random)

    def _telephone_after_lot(self, form: Invited, fate: Fate, random: Random) -> None:
        today = self.simulation.today
        self._telephone(form, fate, random, today, today + timedelta(days=max(1, fate.days - LAST_REMINDER_DAYS)))

    def _telephone(self, form: Invited, fate: Fate, random: Random, day: date, answered_on: date) -> None:
        """One to three calls after that day, none after the window or the answer; the answer, if it comes so."""
        if fate.how == "telephone":
            at = self.simulation.office_time(answered_on, random)
            self._plan(at, partial(self._tell_staff, form, fate, random))
        for _ in range(random.randint(1, 3) if fate.called else 0):
            day += timedelta(days=random.randint(1, 7))
            said = LOST_SAY if fate is SILENT else SILENT_SAY if fate.how == "none" else OTHERS_SAY
            result = fate.said or random.choices(*said)[0]
            if fate.how == "none" or day < answered_on:
                self.simulation.plan(self.simulation.office_time(day, random), partial(self._call, form, result))
        if fate is SILENT:
            day += timedelta(days=2)
            second = partial(self._call, form, "no_answer", to_second_contact=True)
            self.simulation.plan(self.simulation.office_time(day, random), second)

    def _call(self, form: Invited, result: str, *, to_second_contact: bool = False) -> None:
        """Who is dead or has moved speaks to nobody, though the clinic has not heard yet."""
        result = "no_answer" if self._gone_by(self.simulation.today) else result
        with self.simulation.runtime.store.writing() as session:
            row = session.get(Timepoint, form.timepoint_id)
            if row is not None and status_of(row, self.simulation.today) in WAITING:
                self._record_attempt(session, result, to_second_contact=to_second_contact)

    def _post(self, form: Invited) -> None:
        """The form on paper, to whoever has no e-mail: asked, so that no answer is silence."""
        with self.simulation.runtime.store.writing() as session:
            row = session.get(Timepoint, form.timepoint_id)
            if row is not None and status_of(row, self.simulation.today) in WAITING:
                self._record_attempt(session, "other", channel="letter")

    def _record_attempt(
        self, session: Session, result: str, *, channel: str = "telephone", to_second_contact: bool = False
    ) -> None:
        record_attempt(
            session,
            session.get_one(Patient, self.patient_id),
            {"channel": channel, "result": result, "to_second_contact": to_second_contact or None},
            now=self.simulation.now,
            by_id=self.simulation.staff.nurse_id,
        )

    def _pursue(self, form_id: str) -> None:
        """Of the random quarter: called again and again until most have answered, whatever else would have come of it."""
        form = self.asked.get(form_id)
        if form is None or f"{form.side}/{form.code}" in self.story.fates:
            return  # left for the visitor
        random = Random(f"{self.story.seed}, {form.side}/{form.code}, drawn by lot")
        on, today = self.simulation.today + timedelta(days=random.randint(1, 8)), self.simulation.today
        if random.random() < PURSUED_ANSWER:
            told = partial(self._tell_staff, form, Fate("telephone"), random)
            self._plan(self.simulation.office_time(on, random), told)
            return
        for days in (1, 3, 6):
            at = self.simulation.office_time(today + timedelta(days=days), random)
            self.simulation.plan(at, partial(self._call, form, random.choices(*OTHERS_SAY)[0]))

    def flagged(self, flag_id: int) -> None:
        """Staff settle a flag within some days; those of the last two weeks may be left for the visitor."""
        now = self.simulation.now
        if self.story.keep_open and now > self.simulation.until - timedelta(days=KEPT_OPEN_DAYS):
            return
        random = Random(f"{self.story.seed}, flag of {now.date()}")
        on = self.simulation.today + timedelta(days=random.randint(1, 2))
        self.simulation.plan(self.simulation.office_time(on, random), partial(self._settle, flag_id))

    def _settle(self, flag_id: int) -> None:
        with self.simulation.runtime.store.writing() as session:
            flag, simulation = session.get_one(Flag, flag_id), self.simulation
            if flag.settled_at is not None:
                return
            by: Any = {"now": simulation.now, "by_id": simulation.staff.nurse_id}
            if flag.kind == lost.KIND:
                patient = session.get_one(Patient, self.patient_id)
                lost.confirm_lost(session, patient, why=LOST, today=simulation.today, **by)
            if flag.kind == "event_reported":
                self._make_event(session, flag)
            settle_flag(session, flag, SETTLED.get(flag.kind, "seen"), **by)

    def _make_event(self, session: Session, flag: Flag) -> None:
        """By one click beside what the patient said."""
        item, simulation = reportable(flag.item), self.simulation
        response = session.get(Response, flag.response_id)
        if item is None or response is None:
            return
        cipher = simulation.runtime.keys.patient_cipher(session.get_one(Patient, response.patient_id).handle)
        event_of_answer(
            session, response, item, open_answers(response.answers, cipher), library=simulation.runtime.library,
            now=simulation.now, today=simulation.today, by_id=simulation.staff.nurse_id,
        )  # fmt: skip

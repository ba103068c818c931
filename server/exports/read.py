"""Rows of the database into facts, operation by operation, so that a large clinic never lies in memory as a whole."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from sqlalchemy import Row, distinct, func, not_, or_, select
from sqlalchemy.orm import Session

from scoring.library import Library
from server.crypto.fields import PatientCipher
from server.exports.answers import open_items, score_facts
from server.exports.contacts import Contacts
from server.exports.facts import DoneAgain, FormFacts, ItemFacts, OperationFacts, VisitFacts
from server.exports.folder import KeysMissing
from server.exports.visits import AtVisit, forms_at_visits, scores_at_visits
from server.fields.field import Value
from server.fields.leaving import leaving
from server.fields.operation import OPERATION, SHOULDER
from server.fields.operation_words import CONVERSIONS, REVISIONS
from server.models import (
    Component,
    FollowUp,
    Message,
    Operation,
    Patient,
    Response,
    Score,
    Shoulder,
    Timepoint,
)
from server.queries.course import in_course
from server.queries.current import COUNTED, STANDS, VALID_SCORE
from server.queries.facts import death_by, standing_of
from server.queries.last_known import last_known_of_all
from server.queries.research import included, research_consents, research_texts
from server.queries.spacers import in_a_spacer_time, spacer_times
from server.schedule.last_known import LastKnown
from server.schedule.status import Reason, Standing, Status

OPERATIONS_AT_ONCE = 300
AnyRow = Row[*tuple[Any, ...]]
Course = list[tuple[date, Operation]]
NOT_SENT = ("no_contact", "no_consent", "messages_stopped", "channel_failed", "returned")
# What is missing is said by the status where that is the reason, and else by the reason of the status.
_SAID_BY_STATUS = (Status.MISSED, Status.OPEN, Status.OVERDUE, Status.NON_RESPONDER)
_SAID_BY_REASON = (Reason.TEXT_WITHHELD, Reason.OTHER_FORM)


@dataclass(frozen=True)
class Reader:
    """`cipher_of` gives a patient's cipher by handle, and raises LookupError without the key. `surgeon_code`: the code for a name.

    `all_patients`: also those who have no consent to research on `as_of`.
    """

    session: Session
    cipher_of: Callable[[str], PatientCipher]
    library: Library
    as_of: date
    surgeon_code: Callable[[str | None], str | None]
    all_patients: bool = False

    def included(self, patient_id: Any) -> Any:
        """The condition, over a column of patient ids, that the patient is exported."""
        return included(patient_id, self.as_of, self.all_patients)

    def left_out(self) -> int:
        """Patients with an operation whose consent to research does not stand."""
        operated = select(func.count(distinct(Patient.id))).join(Shoulder).join(Operation)
        query = operated.where(COUNTED, STANDS, not_(self.included(Patient.id)))
        return self.session.scalar(query) or 0

    def operations(self) -> Iterator[tuple[OperationFacts, list[FormFacts], list[VisitFacts]]]:
        """Every operation with its forms, those to come included, ordered by study number, side and position; forms by opening.

        Beside them the forms that were taken at visits, by day.
        """
        query = (
            select(Operation, Shoulder, Patient)
            .join(Shoulder, Shoulder.id == Operation.shoulder_id)
            .join(Patient, Patient.id == Shoulder.patient_id)
            .where(COUNTED, STANDS, self.included(Patient.id))
            .order_by(Patient.study_number, Shoulder.side, Operation.position)
            .execution_options(yield_per=OPERATIONS_AT_ONCE)
        )
        known = last_known_of_all(self.session, self.as_of)
        with self.session.execute(query) as found:
            for rows in found.partitions():
                yield from self._with_forms(rows, known)

    def _with_forms(
        self, rows: Sequence[AnyRow], known: Mapping[int, LastKnown]
    ) -> Iterator[tuple[OperationFacts, list[FormFacts], list[VisitFacts]]]:
        wanted = [row.Operation.id for row in rows]
        follow_ups = _by(self._of_operations(select(FollowUp), wanted), lambda each: each.operation_id)
        timepoints = _by(self._of_operations(_timepoints(), wanted), lambda each: each.follow_up_id)
        sources = self._sources({each.answer_from_id for rows in timepoints.values() for each in rows})
        responses = {each.timepoint_id: each for each in self._of_operations(_responses(), wanted, sources)}
        scores = _by(self._of_operations(_scores(), wanted, sources), lambda each: each.response_id)
        repeats, messages = self._repeats(wanted), self._messages(wanted)
        contacts = Contacts.of(self.session, wanted)
        people = {row.Patient.id for row in rows}
        consents, texts = self.consents(people), research_texts(self.session, self.as_of, people)
        shoulders = [row.Shoulder.id for row in rows]
        done = self._done(shoulders)
        labels, first_stages = self._labels(wanted), self._first_stages(rows)
        at_visits = forms_at_visits(self.session, {row.Shoulder.id for row in rows})
        visit_scores = scores_at_visits(self.session, at_visits)
        for row in rows:
            last = follow_ups.get(row.Operation.id, [None])[-1]
            of_shoulder, until = done.get(row.Shoulder.id, []), self._until(row.Patient)
            operation = _operation_facts(
                row, last, self, in_course(of_shoulder, until),
                (consents.get(row.Patient.id, "none"), texts.get(row.Patient.id)),
                labels.get(row.Operation.id, []), first_stages.get(row.Operation.first_stage_id),
                known.get(row.Patient.id, LastKnown()),
            )  # fmt: skip
            forms = [
                self._form(
                    row,
                    timepoint,
                    responses.get(timepoint.answer_from_id or timepoint.id),
                    scores,
                    repeats.get(timepoint.id, 0),
                    messages.get(timepoint.id, {}),
                    contacts,
                    sources.get(timepoint.answer_from_id or 0),
                )
                for each in follow_ups.get(row.Operation.id, [])
                for timepoint in timepoints.get(each.id, [])
            ]
            visits = [
                self._visit(row, each, visit_scores.get(each.response.id, []))
                for each in at_visits.get(row.Operation.id, [])
            ]
            times = spacer_times(of_shoulder, until)
            yield operation, [replace(each, spacer_in=in_a_spacer_time(times, each.on)) for each in forms], visits

    def _of_operations(self, query: Any, wanted: list[int], others: Collection[int] = ()) -> list[Any]:
        """`others`: timepoints of other operations that are wanted too."""
        theirs = FollowUp.operation_id.in_(wanted)
        return list(self.session.scalars(query.where(or_(theirs, Timepoint.id.in_(others)) if others else theirs)))

    def _sources(self, ids: Collection[int | None]) -> dict[int, AnyRow]:
        """Of the timepoints whose answer counts for another one too, the code and the operation."""
        query = select(Timepoint.id, Timepoint.code, Operation.position)
        joined = query.join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        joined = joined.join(Operation, Operation.id == FollowUp.operation_id)
        return {row.id: row for row in self.session.execute(joined.where(Timepoint.id.in_(ids)))}

    def _repeats(self, wanted: list[int]) -> dict[int, int]:
        query = (
            select(Response.timepoint_id, func.count())
            .join(Timepoint, Timepoint.id == Response.timepoint_id)
            .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
            .where(FollowUp.operation_id.in_(wanted), ~Response.counted)
            .group_by(Response.timepoint_id)
        )
        return {row.timepoint_id: row[1] for row in self.session.execute(query)}

    def _messages(self, wanted: list[int]) -> dict[int, dict[str | None, int]]:
        """How many messages of each timepoint had which outcome; None is one that waits."""
        query = (
            select(Message.timepoint_id, Message.outcome, func.count())
            .join(Timepoint, Timepoint.id == Message.timepoint_id)
            .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
            .where(FollowUp.operation_id.in_(wanted))
            .group_by(Message.timepoint_id, Message.outcome)
        )
        found: dict[int, dict[str | None, int]] = {}
        for timepoint_id, outcome, count in self.session.execute(query):
            found.setdefault(timepoint_id, {})[outcome] = count
        return found

    def consents(self, patients: set[int]) -> dict[int, str]:
        """`given` or `withdrawn`; patients who were never asked, or said no, are left out."""
        return research_consents(self.session, self.as_of, patients)

    def _done(self, shoulders: list[int]) -> dict[int, list[Operation]]:
        """By shoulder, all operations that were done."""
        query = select(Operation).where(Operation.shoulder_id.in_(shoulders), Operation.surgery_on.is_not(None), STANDS)
        return _by(list(self.session.scalars(query)), lambda each: each.shoulder_id)

    def _until(self, patient: Patient) -> date:
        """Nothing was done after this day, whatever its year or month leaves open."""
        return min(self.as_of, death_by(patient) or self.as_of)

    def _labels(self, wanted: list[int]) -> dict[int, list[Component]]:
        """The components that were put in at each operation."""
        query = select(Component).where(Component.put_in_id.in_(wanted), Component.struck_at.is_(None))
        return _by(list(self.session.scalars(query.order_by(Component.id))), lambda each: each.put_in_id)

    def _first_stages(self, rows: Sequence[AnyRow]) -> dict[int | None, int]:
        """The place on its shoulder of each operation that a second stage among `rows` completes."""
        wanted = {row.Operation.first_stage_id for row in rows} - {None}
        query = select(Operation.id, Operation.position).where(Operation.id.in_(wanted))
        return {row.id: row.position for row in self.session.execute(query)}

    def _form(
        self,
        row: AnyRow,
        timepoint: Timepoint,
        response: Response | None,
        scores: dict[int, list[Score]],
        repeats: int,
        messages: dict[str | None, int],
        contacts: Contacts,
        source: AnyRow | None,
    ) -> FormFacts:
        fetched_on, lost_on = contacts.fetched_on(timepoint), row.Patient.lost_on
        other_side = contacts.asked_about_other_side(timepoint)
        standing = standing_of(timepoint, self.as_of, fetched_on=fetched_on, lost_on=lost_on, other_side=other_side)
        missing: str | None = None
        items: list[ItemFacts] = []
        kept = scores.get(response.id, []) if response else []
        if response is not None:
            items, missing = self._items(row.Patient, response)
        elif timepoint.answered_on is not None:
            missing = "erased"
        elif standing.status != Status.UPCOMING:
            missing = _why_missing(standing, timepoint, messages)
        else:
            missing = "upcoming"
        on, surgery_on = timepoint.answered_on or timepoint.due_on, row.Operation.surgery_on
        return FormFacts(
            code=timepoint.code,
            attempt=timepoint.attempt,
            plan=f"{timepoint.follow_up.plan_id}@{timepoint.plan_version}",
            opens_on=timepoint.opens_on,
            due_on=timepoint.due_on,
            closes_on=timepoint.closes_on,
            withheld_on=timepoint.withheld_on,
            withheld_texts=timepoint.withheld_texts,
            status=str(standing.status),
            status_reason=str(standing.reason),
            status_since=standing.since,
            missing=missing,
            asked_on=timepoint.asked_on,
            fetched_on=fetched_on,
            last_try=timepoint.last_try,
            answered_operation=source.position if source else None,
            answered_timepoint=source.code if source else None,
            lot_cast_on=timepoint.lot_cast_on,
            draw=timepoint.draw_id,
            drawn_on=timepoint.drawn_on,
            drawing_probability=timepoint.drawing_probability,
            answered_on=timepoint.answered_on,
            finished_at=response.finished_at if response else None,
            # The row's, since a baseline's is stated again when the day of surgery is known.
            window_state=timepoint.window_state if response else None,
            mode=response.mode if response else None,
            answered_by=response.answered_by if response else None,
            language=response.language if response else None,
            days_from_surgery=(on - surgery_on).days if surgery_on else None,
            messages_sent=messages.get("sent", 0),
            sent=contacts.sent(timepoint),
            tries=contacts.tries(timepoint),
            repeats=repeats,
            items=tuple(items),
            scores=() if missing else score_facts(kept, items, self.library),
        )

    def _visit(self, row: AnyRow, taken: AtVisit, scores: list[Score]) -> VisitFacts:
        response, surgery_on = taken.response, row.Operation.surgery_on
        items, missing = self._items(row.Patient, response)
        return VisitFacts(
            finding=taken.finding,
            missing=missing,
            answered_on=taken.on,
            finished_at=response.finished_at,
            window_state=response.window_state,
            mode=response.mode,
            answered_by=response.answered_by,
            language=response.language,
            days_from_surgery=(taken.on - surgery_on).days if surgery_on else None,
            items=tuple(items),
            scores=() if missing else score_facts(scores, items, self.library),
        )

    def _items(self, patient: Patient, response: Response) -> tuple[list[ItemFacts], str | None]:
        """Raises KeysMissing: a key that got lost must never look like an erasure, or the file would hide that answers exist."""
        if patient.erased_at is not None:
            return [], "erased"
        try:
            cipher = self.cipher_of(patient.handle)
        except LookupError as problem:
            raise KeysMissing(
                f"the key of patient {patient.study_number} is not in the key folder, and the patient was not erased; nothing was "
                "written. Bring the folder `keys` back from its backup"
            ) from problem
        return open_items(response.answers, response.answered_by, cipher, self.library)


def _why_missing(standing: Standing, timepoint: Timepoint, messages: dict[str | None, int]) -> str:
    if standing.status not in _SAID_BY_STATUS or standing.reason in _SAID_BY_REASON:
        return str(standing.reason)
    asked = timepoint.asked_on is not None or standing.status not in (Status.OPEN, Status.OVERDUE)
    return "not_sent" if not asked and _could_not_be_sent(messages) else str(standing.status)


def _could_not_be_sent(messages: dict[str | None, int]) -> bool:
    """Nothing was sent and nothing waits to be, though something was to be."""
    return not messages.get("sent") and not messages.get(None) and any(messages.get(each) for each in NOT_SENT)


def _timepoints() -> Any:
    joined = select(Timepoint).join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
    return joined.order_by(Timepoint.opens_on, Timepoint.code, Timepoint.attempt)


def _responses() -> Any:
    joined = select(Response).join(Timepoint, Timepoint.id == Response.timepoint_id)
    return joined.join(FollowUp, FollowUp.id == Timepoint.follow_up_id).where(Response.counted)


def _scores() -> Any:
    joined = select(Score).join(Response, Response.id == Score.response_id)
    joined = joined.join(Timepoint, Timepoint.id == Response.timepoint_id)
    joined = joined.join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
    return joined.where(Response.counted, VALID_SCORE).order_by(Score.id)


def _by(rows: list[Any], key: Callable[[Any], int]) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = {}
    for row in rows:
        found.setdefault(key(row), []).append(row)
    return found


def _operation_facts(
    row: AnyRow,
    follow_up: FollowUp | None,
    reader: Reader,
    course: Course,
    research: tuple[str, str | None],
    components: list[Component],
    first_stage: int | None,
    known: LastKnown,
) -> OperationFacts:
    operation, patient = row.Operation, row.Patient
    on, born = operation.surgery_on, patient.birth_on
    age = on.year - born.year - ((on.month, on.day) < (born.month, born.day)) if on else None
    return OperationFacts(
        as_of=reader.as_of,
        study_number=patient.study_number,
        research_consent=research[0],
        research_consent_version=research[1],
        sex=patient.sex,
        birth_year=patient.birth_year,
        died_on=patient.died_on,
        died_precision=(patient.died_precision or "day") if patient.died_on else None,
        died_source=patient.died_source,
        died_certainty=patient.died_certainty,
        withdrawn_on=patient.withdrew_on,
        records_closed_on=patient.records_closed_on,
        erasure_asked_on=patient.erasure_asked_on,
        withdrawal_extent=patient.withdrawal_extent,
        messages_stopped_on=patient.messages_stopped_on,
        transferred_on=patient.transferred_on,
        lost_on=patient.lost_on,
        side=row.Shoulder.side,
        position=operation.position,
        first_stage=first_stage,
        surgeon=reader.surgeon_code(operation.surgeon),
        recorded={**leaving(OPERATION, operation), **leaving(SHOULDER, row.Shoulder), **_of_labels(components)},
        last_contact=known.contact,
        last_alive=known.alive,
        last_implant=known.implant.get(row.Shoulder.side),
        implant_reported=known.reported_implant.get(row.Shoulder.side),
        age_at_surgery=age,
        plan=f"{follow_up.plan_id}@{follow_up.plan_version}" if follow_up else None,
        followed_from=follow_up.started_on if follow_up else None,
        followed_to=follow_up.ended_on if follow_up else None,
        end_reason=follow_up.end_reason if follow_up else None,
        revision=_first_later(course, REVISIONS, operation),
        converted_on=converted.on if (converted := _first_later(course, CONVERSIONS, operation)) else None,
    )


def _of_labels(components: list[Component]) -> dict[str, Value]:
    """Model, size and lot of all components, each different text once."""
    found: dict[str, Value] = {}
    for name in ("model", "size", "lot"):
        texts = dict.fromkeys(text for each in components if (text := getattr(each, name)))
        found[f"implant_{name}"] = " | ".join(texts) or None
    return found


def _first_later(course: Course, kinds: Collection[str], operation: Operation) -> DoneAgain | None:
    """The first one of these kinds after this operation. Where its own day is still to come it goes by the entry."""
    done = [each.id for _day, each in course]
    if operation.id in done:
        later = course[done.index(operation.id) + 1 :]
    else:
        later = [(day, each) for day, each in course if each.position > operation.position]
    return next(
        (DoneAgain(day, each.surgery_precision, each.certainty) for day, each in later if each.kind in kinds), None
    )

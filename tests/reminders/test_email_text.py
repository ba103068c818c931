"""What an e-mail says, and what it can never say."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.fields.sender import sender_address
from server.reminders.channels.contract import Notice, Numbers, Tone, TransportProblem
from server.reminders.channels.email.compose import compose

SENDER = "Shoulder follow-up <follow-up@clinic.example>"
CLINIC = Numbers("Clínica Río", "+34 600 000 001", "Monday to Friday, 9 to 17", "+34 600 000 002", "112", demo=False)
NOTICE = Notice(
    message_id="<7.0123456789abcdef@clinic.example>",
    to="ada@patient.example",
    language="en",
    first_name="Ada",
    sides=("right",),
    tone="first",
    minutes=5,
    due_on=date(2027, 5, 14),
    closes_on=date(2027, 7, 13),
    url="https://clinic.example/p/#ABCDEFGHIJKLMNOPQRSTUVWXYZ23",
    clinic=CLINIC,
    written_at=datetime(2027, 5, 1, 8, tzinfo=UTC),
)
TONES: tuple[Tone, ...] = ("first", "again", "last")


def received(notice: Notice) -> EmailMessage:
    """As the other end reads it."""
    read = message_from_bytes(compose(notice, SENDER).as_bytes(), policy=policy.default)
    assert isinstance(read, EmailMessage)
    return read


def text_of(notice: Notice) -> str:
    return str(received(notice).get_content()).replace("\r\n", "\n")


def test_an_invitation_names_clinic_person_side_minutes_day_link_and_numbers() -> None:
    text = text_of(NOTICE)
    parts = (
        "Hello Ada,",
        "Clínica Río",
        "your right shoulder",
        "about 5 minutes",
        "by Friday, 14 May 2027",
        "until Tuesday, 13 July 2027",
        "\n\nhttps://clinic.example/p/#ABCDEFGHIJKLMNOPQRSTUVWXYZ23\n\n",
        "enter your date of birth",
    )
    assert [part for part in parts if part not in text] == []


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("tone", TONES)
def test_every_message_says_whom_to_call_and_how_to_stop(language: str, tone: Tone) -> None:
    text = text_of(replace(NOTICE, language=language, tone=tone))
    for number in ("112", "+34 600 000 001", "+34 600 000 002", "Monday to Friday, 9 to 17"):
        assert number in text
    assert {"en": "nobody reads the answers right away", "es": "nadie lee las respuestas en el momento"}[
        language
    ] in text
    assert {"en": "reply to this one or call", "es": "responda a este o llame"}[language] in text


def test_spanish_speaks_spanish_in_subject_dates_and_side() -> None:
    notice = replace(NOTICE, language="es", sides=("left", "right"))
    assert received(notice)["Subject"] == "Clínica Río: el seguimiento de su hombro, unos 5 minutos"
    text = text_of(notice)
    assert "sus dos hombros" in text
    assert "viernes, 14 de mayo de 2027" in text
    assert received(notice)["Content-Language"] == "es"


def test_a_language_without_words_gets_english() -> None:
    assert received(replace(NOTICE, language="xx"))["Content-Language"] == "en"


@pytest.mark.parametrize(
    ("due_on", "closes_on", "sentence"),
    [
        (date(2027, 5, 14), None, "Please answer by Friday, 14 May 2027, and in any case before your operation."),
        (None, date(2027, 7, 13), "The questions stay open until Tuesday, 13 July 2027."),
        (None, None, "Please answer before your operation."),
    ],
)
def test_the_day_fits_what_is_known(due_on: date | None, closes_on: date | None, sentence: str) -> None:
    assert sentence in text_of(replace(NOTICE, due_on=due_on, closes_on=closes_on))


def test_one_minute_is_one_minute() -> None:
    assert received(replace(NOTICE, minutes=1))["Subject"].endswith("about one minute")


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_demo_says_so(language: str) -> None:
    demo = replace(NOTICE, language=language, clinic=replace(CLINIC, demo=True))
    assert {"en": "clinic and its patients are invented", "es": "son inventados"}[language] in text_of(demo)
    assert "invent" not in text_of(replace(NOTICE, language=language))


def test_no_subject_speaks_of_a_survey_and_none_says_more_of_health_than_shoulder_follow_up() -> None:
    subjects = [received(replace(NOTICE, tone=tone))["Subject"] for tone in TONES]
    assert len([each for each in subjects if "shoulder follow-up" in each]) == len(TONES) > 1
    assert re.findall(r"survey|surgery|operat|pain|implant|Ada", " ".join(subjects), re.IGNORECASE) == []


def test_the_headers_are_those_of_a_machine_and_of_this_message() -> None:
    message = received(NOTICE)
    assert message["Message-ID"] == NOTICE.message_id
    assert message["Auto-Submitted"] == "auto-generated"
    assert message["From"].addresses[0].addr_spec == "follow-up@clinic.example"
    assert message["Date"].datetime == NOTICE.written_at
    assert compose(NOTICE, SENDER).as_bytes() == compose(NOTICE, SENDER).as_bytes()


@pytest.mark.parametrize(
    "address",
    [
        "",
        "ada",
        "ada@",
        "@x.example",
        "ada@localhost",
        "ada@x.example\r\nBcc: eve@x.example",
        "ada@x.example, eve@x.example",
        "Ada <ada@x.example>",
        "adä@x.example",
        "ada@x.example ",
    ],
)
def test_what_is_no_address_is_refused_for_good(address: str) -> None:
    with pytest.raises(TransportProblem) as refused:
        compose(replace(NOTICE, to=address), SENDER)
    assert refused.value.permanent
    assert refused.value.summary == "this is no e-mail address"


def test_a_name_or_a_clinic_never_becomes_a_header() -> None:
    evil = "Ada\r\nBcc: eve@x.example\r\n\r\nHello {phone}"
    message = received(replace(NOTICE, first_name=evil, clinic=replace(CLINIC, name=evil)))
    assert set(message.keys()) == set(received(NOTICE).keys())
    assert "Hello Ada Bcc: eve@x.example Hello {phone}," in str(message.get_content())


@given(st.text(max_size=80), st.text(max_size=80))
def test_any_name_and_clinic_leave_the_same_headers(name: str, clinic: str) -> None:
    encodable = [text.encode("utf-8", "ignore").decode() for text in (name, clinic)]
    message = received(replace(NOTICE, first_name=encodable[0], clinic=replace(CLINIC, name=encodable[1])))
    assert set(message.keys()) == set(received(NOTICE).keys())
    assert message["To"] == "ada@patient.example"


@pytest.mark.parametrize(
    "text",
    [
        "Shoulder follow-up",
        "Hospital <office@hospitál.test>",
        "office@clinic.test, other@clinic.test",
        "Dr Who, Shoulder <office@clinic.test>",
    ],
)
def test_a_sender_that_no_mail_could_come_from_is_refused_at_once(text: str) -> None:
    with pytest.raises(ValueError, match="is no sender"):
        sender_address(text)


def test_where_a_representative_answers_the_message_speaks_to_that_person() -> None:
    text = text_of(replace(NOTICE, spoken_for=True))
    assert text.startswith(
        "To the representative of Ada,\n\nQuestions about the shoulder of Ada are open at Clínica Río."
    )
    assert "enter the date of birth of Ada:" in text and "https://clinic.example/p/#" in text
    assert "Hello" not in text and "your right shoulder" not in text and "enter your date of birth" not in text

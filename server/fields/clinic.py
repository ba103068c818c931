"""The clinic's own settings: what patients are told, the clinic's calendar and address, who writes and who operates."""

from server.fields.field import Field, Kind

_OWN = "a setting of the clinic, not of a patient"
LANGUAGES_LONGEST = 60

SETTINGS: tuple[Field, ...] = (
    Field("name", "Name", Kind.TEXT, "clinic", longest=120, required=True, stays=_OWN,
        hint="As patients read it."),
    Field("phone", "Telephone", Kind.TEXT, "numbers", longest=40, required=True, stays=_OWN,
        hint="The number that patients call while the clinic is open."),
    Field("phone_hours", "Hours", Kind.BY_LANGUAGE, "numbers", longest=120, required=True, stays=_OWN,
        hint="In words, for example Monday to Friday, 8 to 16. A language without words of its own is told those of the first."),
    Field("closed_phone", "Telephone when closed", Kind.TEXT, "numbers", longest=40, required=True, stays=_OWN,
        hint="The number that patients call when the clinic is closed."),
    Field("emergency_number", "Emergency number", Kind.TEXT, "numbers", longest=20, required=True, stays=_OWN),
    Field("mail_from", "Sender of e-mail", Kind.TEXT, "mail", longest=200, stays=_OWN,
        hint="Name <address>, where somebody reads replies. Empty: the sender that the server was started with."),
    Field("languages", "Languages of the forms", Kind.TEXT, "calendar", longest=LANGUAGES_LONGEST, required=True, stays=_OWN,
        hint="Codes with commas between, the clinic's own first, such as es,en,ar."),
    Field("time_zone", "Time zone", Kind.TEXT, "calendar", longest=40, required=True, stays=_OWN,
        hint="An IANA name such as Europe/Madrid."),
    Field("base_url", "Address that patients reach", Kind.TEXT, "address", longest=200, required=True, stays=_OWN,
        hint="Such as https://followup.clinic.example."),
    Field("surgeons", "Surgeons", Kind.LIST, "team", longest=2000, stays=_OWN,
        hint="One name a line. They are offered where an operation is entered."),
    Field("majority_age", "Age of majority", Kind.WHOLE, "calendar", unit="years", least=12, most=25, stays=_OWN,
        hint="From that birthday on a patient is asked for consent again. Empty: 18."),
    Field("log_basis", "Basis of the operation log", Kind.TEXT, "log", longest=300, stays="words of the clinic, told in the codebook",
        hint="Why operations of people who are not enrolled may be kept, such as a law or an ethics vote."),
    Field("searched_years", "Years of surgery that were searched", Kind.TEXT, "log", longest=120, stays=_OWN,
        hint="Years of surgery of which every operation was searched for later operations, such as 2004-2012, 2015. In figures of how long "
        "implants last these are watched from surgery on, all others from the day on which their follow-up began."),
    Field("default_plan", "Follow-up plan of new follow-ups", Kind.TEXT, "plan", longest=60, required=True, asked=False, stays=_OWN),
)  # fmt: skip

"""Every staff page: method, path, name, view, and who may. This table is the only way to a page; no roles means open to all."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from server.staff import (
    answers,
    audit_page,
    enrol,
    files,
    flags,
    held,
    instruments,
    patient,
    patient_forms,
    patients,
    plan_check,
    plans,
    settings,
    sign_in,
    text_decision,
    texts,
    today,
)

CARE = ("nurse", "surgeon")  # who meets patients sees names and answers
KEEPING = ("surgeon", "data_manager")  # who may take data out
ALL = ("nurse", "surgeon", "data_manager")
MANAGER = ("data_manager",)


@dataclass(frozen=True)
class Route:
    method: str
    path: str
    name: str
    view: Callable[..., Any]
    roles: tuple[str, ...] | None


ROUTES = (
    Route("GET", "/sign-in", "sign_in", sign_in.sign_in_page, None),
    Route("POST", "/sign-in", "sign_in_post", sign_in.sign_in, None),
    Route("POST", "/sign-out", "sign_out", sign_in.sign_out, ALL),
    Route("GET", "/account", "account", sign_in.account_page, ALL),
    Route("POST", "/account/password", "change_password", sign_in.change_password, ALL),
    Route("POST", "/account/sessions", "sign_out_elsewhere", sign_in.sign_out_elsewhere, ALL),
    Route("POST", "/accounts/<int:account_id>/shut", "shut_account", sign_in.shut, MANAGER),
    Route("GET", "/today", "today", today.today, CARE),
    Route("GET", "/patients", "patients", patients.patients, CARE),
    Route("GET", "/patients/new", "enrol", enrol.enrol_page, CARE),
    Route("POST", "/patients/new", "enrol_post", enrol.enrol_post, CARE),
    Route("GET", "/patients/<int:patient_id>", "patient", patient.patient_page, CARE),
    Route("GET", "/patients/<int:patient_id>/enrolled", "enrolled", enrol.enrolled, CARE),
    Route("GET", "/patients/<int:patient_id>/letter", "letter", patient.letter, CARE),
    Route("POST", "/patients/<int:patient_id>/attempts", "attempt", patient_forms.add_attempt, CARE),
    Route("POST", "/patients/<int:patient_id>/link", "new_link", patient_forms.new_link, CARE),
    Route("POST", "/patients/<int:patient_id>/unlock", "unlock", patient_forms.unlock_link, CARE),
    Route("POST", "/patients/<int:patient_id>/birth-date", "birth_date", patient_forms.birth_date, CARE),
    Route("POST", "/patients/<int:patient_id>/contact", "contact", patient_forms.contact, CARE),
    Route("POST", "/patients/<int:patient_id>/leave", "leave", patient_forms.leave, CARE),
    Route("POST", "/patients/<int:patient_id>/operations", "new_operation", patient_forms.new_operation, CARE),
    Route("POST", "/operations/<int:operation_id>", "surgery", patient_forms.change_surgery, CARE),
    Route("GET", "/responses/<int:response_id>", "response", answers.response_page, CARE),
    Route("GET", "/flags/<int:flag_id>", "flag", flags.flag_page, CARE),
    Route("POST", "/flags/<int:flag_id>", "settle_flag", flags.settle_flag, CARE),
    Route("GET", "/held", "held", held.held, ALL),
    Route("GET", "/held/<int:envelope_id>", "held_one", held.held_one, ALL),
    Route("POST", "/held/<int:envelope_id>/again", "try_held_again", held.try_held_again, ALL),
    Route("POST", "/held/<int:envelope_id>/settle", "settle_held", held.settle_held, ALL),
    Route("GET", "/files", "files", files.files, KEEPING),
    Route("POST", "/files", "download", files.download, KEEPING),
    Route("GET", "/instruments", "instruments", instruments.instruments, ALL),
    Route("GET", "/instruments/<spec>", "instrument", instruments.instrument, ALL),
    Route("GET", "/instruments/<spec>/<language>", "questionnaire", instruments.questionnaire, ALL),
    Route("GET", "/plans", "plans", plans.plans, ALL),
    Route("POST", "/plans/check", "check_plan", plan_check.check_plan, MANAGER),
    Route("POST", "/plans/install", "install_plan", plan_check.install, MANAGER),
    Route("POST", "/plans/default", "default_plan", plans.choose_default, MANAGER),
    Route("GET", "/texts", "texts", texts.texts, ALL),
    Route("POST", "/texts/check", "check_text", texts.check_text, MANAGER),
    Route("POST", "/texts/install", "install_text", texts.install, MANAGER),
    Route("POST", "/texts/decision", "decide_texts", text_decision.decide, MANAGER),
    Route(
        "POST", "/texts/decisions/<int:decision_id>/withdrawal", "withdraw_decision", text_decision.withdraw, MANAGER
    ),
    Route("GET", "/texts/<spec>/<language>/<name>", "installed_text", texts.installed_text, ALL),
    Route("GET", "/settings", "settings", settings.settings_page, MANAGER),
    Route("POST", "/settings", "save_settings", settings.save_settings, MANAGER),
    Route("GET", "/audit", "audit", audit_page.audit_trail, MANAGER),
)

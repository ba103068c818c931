"""What is asked: instruments, follow-up plans and texts."""

from server.staff.library import instruments, ladders, plan_upload, plans, text_decision, texts
from server.staff.page.route import ALL, MANAGER, Route

ROUTES = (
    Route("GET", "/instruments", "instruments", instruments.instruments, ALL),
    Route("GET", "/instruments/<spec>", "instrument", instruments.instrument, ALL),
    Route("GET", "/instruments/<spec>/<language>", "questionnaire", instruments.questionnaire, ALL),
    Route("GET", "/plans", "plans", plans.plans, ALL),
    Route("POST", "/plans/check", "check_plan", plan_upload.check_plan, MANAGER),
    Route("POST", "/plans/install", "install_plan", plan_upload.install, MANAGER),
    Route("POST", "/plans/default", "default_plan", plans.choose_default, MANAGER),
    Route("GET", "/reminders", "ladders", ladders.ladders, ALL),
    Route("POST", "/reminders/check", "check_ladder", ladders.check_ladder, MANAGER),
    Route("POST", "/reminders/install", "install_ladder", ladders.install, MANAGER),
    Route("POST", "/reminders/choice", "choose_ladder", ladders.choose, MANAGER),
    Route("GET", "/texts", "texts", texts.texts, ALL),
    Route("POST", "/texts/check", "check_text", texts.check_text, MANAGER),
    Route("POST", "/texts/install", "install_text", texts.install, MANAGER),
    Route("POST", "/texts/decision", "decide_texts", text_decision.decide, MANAGER),
    Route("POST", "/texts/decision/<int:decision_id>", "withdraw_decision", text_decision.withdraw, MANAGER),
    Route("GET", "/texts/<spec>/<language>/<name>", "installed_text", texts.installed_text, ALL),
)

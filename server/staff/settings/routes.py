"""The clinic's settings, and whether it is ready for patients."""

from server.staff.page.route import MANAGER, Route
from server.staff.settings import holidays, mail_trial, ready, safety, settings

ROUTES = (
    Route("GET", "/ready", "ready", ready.ready, MANAGER),
    Route("GET", "/settings", "settings", settings.settings_page, MANAGER),
    Route("POST", "/settings", "save_settings", settings.save_settings, MANAGER),
    Route("GET", "/settings/safety", "safety", safety.safety_page, MANAGER),
    Route("POST", "/settings/safety", "save_safety", safety.save_safety, MANAGER),
    Route("GET", "/settings/holidays", "holidays", holidays.holidays_page, MANAGER),
    Route("POST", "/settings/holidays", "add_holiday", holidays.add_holiday_post, MANAGER),
    Route(
        "POST", "/settings/holidays/<int:holiday_id>/remove", "remove_holiday", holidays.remove_holiday_post, MANAGER
    ),
    Route("GET", "/settings/test-message", "test_message", mail_trial.mail_trial_page, MANAGER),
    Route("POST", "/settings/test-message", "send_test_message", mail_trial.send_test_message, MANAGER),
)

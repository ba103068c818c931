"""The clinic's privacy notice and consent texts: everybody reads them, a data manager enters them."""

from server.staff.notices import entering, notices
from server.staff.page.route import ALL, MANAGER, Route

ROUTES = (
    Route("GET", "/notices", "notices", notices.notices, ALL),
    Route("GET", "/notices/<int:notice_id>", "notice_text", notices.notice_text, ALL),
    Route("GET", "/notices/<int:notice_id>.txt", "notice_file", notices.notice_text_file, ALL),
    Route("GET", "/notices/<kind>/new", "new_notice", entering.new_notice, MANAGER),
    Route("GET", "/notices/<kind>/more", "more_of_notice", entering.more_languages, MANAGER),
    Route("POST", "/notices/check", "check_notice", entering.check, MANAGER),
    Route("POST", "/notices/install", "install_notice", entering.install, MANAGER),
    Route("POST", "/notices/end", "end_notice", notices.end, MANAGER),
)

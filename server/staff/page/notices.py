"""What a page says after something was done: the address carries one word, and this table has its sentence."""

from server.staff.page import words
from server.words.phrase import phrase

NOTICES = {
    "signed-out": phrase("You are signed out."),
    "too-old": phrase("The page was too old to be sent safely. Nothing is changed; please enter it again."),
    "elsewhere-ended": phrase("All your other sessions are ended."),
    "account-shut": phrase("That account may no longer sign in, and its sessions are ended."),
    "account-opened": phrase("That account may sign in again, with the password and the second step that it had."),
    "account-unlocked": phrase("The wrong tries are forgiven. It can be tried again now, from everywhere."),
    "account-changed": phrase(
        "The account is saved. If its role changed, whoever was signed in with it signs in anew."
    ),
    "session-ended": phrase("That session is ended."),
    "sessions-ended": phrase("The sessions are ended."),
    "password-changed": phrase("Your password is changed. Your other sessions are ended."),
    "factor-added": phrase("Added. From now on it signs you in after your password."),
    "factor-removed": phrase("Removed. Your other sessions are ended."),
    "factor-renamed": phrase("It has its new name."),
    "factor-reset": phrase("Reset. The next sign-in with that account sets a second step up anew."),
    "recovery-code-used": phrase(
        "You are signed in. That recovery code is used up. If the device is lost, add another here and remove the lost one."
    ),
    "restored-released": phrase("The clinic is released: messages leave again."),
    "locked": phrase("The data are locked under this name. They never change."),
    "silence-drawn": phrase(
        "The lots are cast. On Today whoever was drawn stands before all other silent, after safety answers and what else cannot wait;"
        " the seed is kept with the draw."
    ),
    "silence-nobody": phrase("Nobody waits for a lot now, so none was cast."),
    "series-saved": phrase("Saved. The line above the sentence says under which name and version."),
    "series-set": phrase(
        "Saved as set before looking. Its figures open with its version below, whenever you want to look."
    ),
    "series-corrected": phrase("It is saved. What stood there before is kept below."),
    "series-withdrawn": phrase("Withdrawn. It stays on the list of those withdrawn, with your reason."),
    "series-back": phrase("It is in use again."),
    "notice-installed": phrase("It is in force. Phones get the new words with their next look at the clinic."),
    "notice-ended": phrase("It is out of force. Whoever agreed to it keeps its words."),
    "enrolled": phrase("Enrolled. Give the link to the patient now, or print the letter."),
    "attempt": phrase("The contact attempt is written down."),
    "message-sent": phrase("The message goes within a minute. Until its day the row stands under Later."),
    "flag-settled": phrase("Settled, with your note."),
    "note-kept": phrase("Your note is kept with what waits. Come back to it by “Look at it and settle it”."),
    "held-recorded": phrase("It could be read now, and is recorded."),
    "held-still": phrase("It still cannot be used. It stays held; nothing is lost."),
    "held-queued": phrase("They are read again within a minute. What still cannot be used stays held."),
    "held-settled": phrase("Settled. What came is kept as it is."),
    "unlocked": phrase("The link is unlocked. The patient can try again now."),
    "link-replaced": phrase(
        "There is a new link, with all its tries. The old one opens nothing any more; what it still sends is held, for you to "
        "accept. If the old one was locked it sends nothing: what waits on its phone must be answered anew."
    ),
    "birth-date": phrase("The birth date is corrected, and the link works with the new one."),
    "contact": phrase("The contact details are saved."),
    "surgery-done": phrase("Surgery is written down as done. The timepoints after it are planned."),
    "surgery-cancelled": phrase("Surgery is cancelled. Nothing more is expected for it."),
    "operation-added": phrase("The operation is added."),
    "operation-saved": phrase("The operation is saved. What follows from it is planned anew."),
    "left": phrase("It is written down. Nothing more is expected, and the link has ended."),
    "messages-stopped": phrase(
        "It is written down. No message goes any more. Forms and the link stay open, and staff may still call."
    ),
    "erasure-asked": phrase(
        "It is written down. Nothing is sent or asked any more, and the link has ended. Yearmark does not erase yet: the record"
        " stays readable for staff until the clinic's data protection officer decides."
    ),
    "number-added": phrase("The number is added. The search on Patients finds the patient by it."),
    "mended": phrase("It is put right. What was there before is kept with your reason."),
    "end-taken-back": phrase("It is taken back. What it ended goes on again."),
    "consent": phrase("The consents are written down."),
    "capacity": phrase("It is written down. Where answers came since that day, say below who gave them."),
    "merged": phrase("The two records are one. It can be undone under “Two records of one person”."),
    "merge-undone": phrase("They are two records again, each with what belongs to it."),
    "event-entered": phrase("The event is written down."),
    "event-reported": phrase("The event is written down as reported. Confirm it once it was checked."),
    "events-partly": phrase(
        "What could be written down is, as reported. The rest was not: press it again on the page of the answers to read why."
    ),
    "event-there": phrase("This answer was written down as an event before; nothing was added."),
    "event-in-error": phrase(
        "This answer was written down before, and the event is marked as entered in error. It counts nowhere; it can be brought back below."
    ),
    "finding-entered": phrase("The visit is written down. The Constant form can be entered below."),
    "constant-entered": phrase("The Constant form is entered."),
    "status-entered": phrase("It is written down. What it shows has moved."),
    "corrected": phrase("It is corrected. What stood before is in the history."),
    "taken-back": phrase("It is marked as entered in error and counts nowhere."),
    "brought-back": phrase("It counts again."),
    "lost-confirmed": phrase("Lost to questionnaires is confirmed. Any later answer undoes it."),
    "logged": phrase("Written down. The next line is ready."),
    "log-enrolled": phrase("The patient's own operation is counted from here on, and the line no longer."),
    "lost-undone": phrase("Found again: no longer lost to questionnaires."),
    "text-installed": phrase(
        "The text is installed. Phones get it with the next fetch; a form that was begun goes on in its words."
    ),
    "texts-decided": phrase("The decision is recorded. What waited goes out by itself."),
    "plan-installed": phrase(
        "The plan is installed. Follow-ups use it once it is the one that new follow-ups start with."
    ),
    "plan-default": phrase("New follow-ups start with this plan from now on. Those that run keep their plan."),
    "ladder-installed": phrase("The ladder is installed. Reminders go by it once it is put in force."),
    "ladder-chosen": phrase("Reminders go by this ladder from now on, of running follow-ups too."),
    "decision-withdrawn": phrase(
        "The decision is withdrawn. What it alone covered is sent no more; answers already given stay."
    ),
    "language": phrase("These pages speak the language you chose."),
    "settings": phrase(
        "The settings are saved. New messages and letters use them; phones learn of them with their next fetch."
    ),
    "safety-net": phrase("Saved. The net goes by it from now on."),
    "holiday-added": phrase("The holiday is entered."),
    "holiday-removed": phrase("The holiday is removed. It stays in the history below."),
    "details": phrase("The details are saved."),
}


def notice(word: str) -> str:
    """The sentence for a word of the address; "" for none and for any other."""
    return words.say(NOTICES.get(word, ""))

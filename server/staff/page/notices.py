"""What a page says after something was done: the address carries one word, the sentence stands here."""

NOTICES = {
    "signed-out": "You are signed out.",
    "too-old": "The page was too old to be sent safely. Nothing is changed; please enter it again.",
    "elsewhere-ended": "All your other sessions are ended.",
    "account-shut": "That account may no longer sign in, and its sessions are ended.",
    "password-changed": "Your password is changed. Your other sessions are ended.",
    "enrolled": "Enrolled. Give the link to the patient now, or print the letter.",
    "attempt": "The contact attempt is written down.",
    "flag-settled": "Settled, with your note.",
    "held-recorded": "It could be read now, and is recorded.",
    "held-still": "It still cannot be used. It stays held; nothing is lost.",
    "held-settled": "Settled. The envelope itself is kept.",
    "unlocked": "The link is unlocked. The patient can try again now.",
    "link-replaced": "There is a new link. The old one opens nothing any more; what was sealed with it can still arrive.",
    "birth-date": "The birth date is corrected, and the link works with the new one.",
    "contact": "The contact details are saved.",
    "surgery-done": "Surgery is written down as done. The timepoints after it are planned.",
    "surgery-moved": "The planned day is changed.",
    "surgery-cancelled": "Surgery is cancelled. Nothing more is expected for it.",
    "operation-added": "The operation is added.",
    "left": "It is written down. Nothing more is expected, and the link has ended.",
    "lost-confirmed": "Lost to questionnaires is confirmed. Any later answer undoes it.",
    "text-installed": "The text is installed. Phones get it with the next fetch; a form that was begun goes on in its words.",
    "texts-decided": "The decision is recorded. What waited goes out by itself.",
    "plan-installed": "The plan is installed. Follow-ups use it once it is the one that new follow-ups start with.",
    "plan-default": "New follow-ups start with this plan from now on. Those that run keep their plan.",
    "decision-withdrawn": "The decision is withdrawn. What it alone covered is sent no more; answers already given stay.",
    "settings": "The settings are saved. New messages and letters use them; phones learn of them with their next fetch.",
    "details": "The details are saved.",
}


def notice(word: str) -> str:
    """The sentence for a word of the address; "" for none and for any other."""
    return NOTICES.get(word, "")

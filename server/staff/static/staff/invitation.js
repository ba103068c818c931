// The invitation goes from the link into the form and out of the address, where a later reader of the browser's history would find it; then it is
// looked at before a password is asked for.
"use strict";

const given = document.querySelector("[data-invitation]");
if (given && location.hash.length > 1) {
  given.value = location.hash.slice(1);
  history.replaceState(null, "", location.pathname);
  given.form.submit();
}

// The same page in another language takes the invitation along as the first link did.
const lookedAt = document.querySelector("[data-looked-at]");
for (const link of lookedAt ? document.querySelectorAll("[data-language]") : []) link.hash = lookedAt.value;

// The invitation goes from the link into the form, and out of the address, where a later reader of the browser's history would find it.
"use strict";

const field = document.querySelector("[data-invitation]");
const given = field.querySelector("input");
if (location.hash.length > 1) {
  given.value = location.hash.slice(1);
  history.replaceState(null, "", location.pathname);
}
field.hidden = given.value !== "";

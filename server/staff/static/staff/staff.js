// Small helps on top of pages that work without them: keys on lists, "/" for search, copying, printing, errors in view.
"use strict";

const typing = (element) => element.closest("input, textarea, select, [contenteditable]") !== null;
const openers = () => [...document.querySelectorAll("[data-row] [data-open]")];

function move(step) {
  const links = openers();
  if (links.length === 0) return;
  const row = document.activeElement.closest("[data-row]");
  const here = row === null ? -1 : links.indexOf(row.querySelector("[data-open]"));
  const next = here === -1 && step < 0 ? links.length - 1 : Math.min(links.length - 1, Math.max(0, here + step));
  links[next].focus();
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || typing(event.target)) return;
  const search = document.querySelector("[data-search]");
  if (event.key === "/" && search) {
    event.preventDefault();
    search.focus();
    search.select();
  } else if (event.key === "j" || event.key === "ArrowDown") {
    if (openers().length === 0) return;
    event.preventDefault();
    move(1);
  } else if (event.key === "k" || event.key === "ArrowUp") {
    if (openers().length === 0) return;
    event.preventDefault();
    move(-1);
  }
});

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-copy], [data-print]");
  if (button === null) return;
  if (button.hasAttribute("data-print")) {
    window.print();
    return;
  }
  const wanted = document.getElementById(button.dataset.copy);
  try {
    await navigator.clipboard.writeText(wanted.dataset.text ?? wanted.textContent.trim());
    button.textContent = "Copied";
  } catch {
    getSelection().selectAllChildren(wanted);
    button.textContent = "Selected: copy it now";
  }
});

// What was typed and not sent is not left without a word. A number that is dialled leaves nothing.
let unsent = false;
addEventListener("input", (event) => {
  if (event.target.closest('form[method="post"]')) unsent = true;
});
addEventListener("submit", () => {
  unsent = false;
});
addEventListener("beforeunload", (event) => {
  if (unsent && !document.activeElement.matches('a[href^="tel:"]')) event.preventDefault();
});

// A link to a closed part of the page, or to a field inside one, opens it first; errors are read out and in view.
function reveal(element) {
  const part = element?.querySelector(":scope > details");
  for (let outer = part ?? element?.closest("details"); outer; outer = outer.parentElement?.closest("details")) outer.open = true;
}
function revealNamed(hash) {
  const element = document.getElementById(hash.slice(1));
  reveal(element);
  element?.scrollIntoView(); // the browser went there while the part was still closed, and the page shorter
}
addEventListener("hashchange", () => revealNamed(location.hash));
document.addEventListener("click", (event) => {
  const link = event.target.closest('a[href^="#"]');
  if (link?.hash === location.hash) revealNamed(link.hash); // pressed again: the address does not change
});
revealNamed(location.hash);
for (const wrong of document.querySelectorAll(".field.wrong")) reveal(wrong);
const pressing = ["[data-errors]", "[autofocus]", "[data-notice]"].map((wanted) => document.querySelector(wanted));
pressing.find((element) => element !== null)?.focus();
for (const element of document.querySelectorAll("[data-needs-script]")) element.hidden = false;

// On a phone the menu is swiped; the page at hand is in view in it.
const menu = document.querySelector(".top nav");
const here = menu?.querySelector("[aria-current]");
if (here) menu.scrollLeft = here.offsetLeft - menu.offsetLeft - (menu.clientWidth - here.offsetWidth) / 2;

// Passkeys: asks the browser for one and sends its answer with the form around the button. Codes work without any of this.
"use strict";

const ask = {
  create: (options) => navigator.credentials.create({ publicKey: PublicKeyCredential.parseCreationOptionsFromJSON(options) }),
  get: (options) => navigator.credentials.get({ publicKey: PublicKeyCredential.parseRequestOptionsFromJSON(options) }),
};

for (const form of document.querySelectorAll("form[data-passkey]")) {
  const button = form.querySelector("[data-passkey-ask]");
  const problem = form.querySelector("[data-passkey-problem]");
  button.addEventListener("click", async () => {
    button.disabled = true;
    problem.hidden = true;
    try {
      const credential = await ask[form.dataset.passkey](JSON.parse(form.dataset.options));
      form.elements.credential.value = JSON.stringify(credential.toJSON());
      form.submit();
    } catch {
      problem.hidden = false;
      button.disabled = false;
      button.focus();
    }
  });
}

// A second press would send a code that the first has used up.
for (const form of document.querySelectorAll("form[data-once]")) {
  form.addEventListener("submit", () => form.querySelector("button").setAttribute("disabled", ""));
}

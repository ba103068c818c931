/** Digits, arrows and Enter on a screen, while no field has the focus. */
import { useEffect } from "preact/hooks";
import { plainDigits } from "../form/check";

/** "1" then "0" within this time means ten. */
const SAME_NUMBER_MS = 700;

function radios(): HTMLInputElement[] {
  return [...document.querySelectorAll<HTMLInputElement>("main input[type=radio]:not(:disabled)")];
}

function press(radio: HTMLInputElement | undefined): void {
  radio?.focus();
  radio?.click();
}

/** Cells of a scale answer to their own number; rows of a choice to their place in the list. */
function radioFor(digits: string): HTMLInputElement | undefined {
  const all = radios();
  const isScale = document.querySelector("main .scale") !== null;
  return isScale ? all.find((radio) => radio.value === digits) : all[Number(digits) - 1];
}

export function useKeyboard(onEnter: () => void): void {
  useEffect(() => {
    let typed = "";
    let typedAt = 0;
    const listen = (event: KeyboardEvent): void => {
      const focused = document.activeElement as HTMLElement | null;
      const inField = focused?.matches("textarea, input[type=text]") ?? false;
      if (inField || event.ctrlKey || event.metaKey || event.altKey) return;
      const onButton = focused?.matches("button, a, input") ?? false;
      if (event.key === "Enter" && !onButton) {
        event.preventDefault();
        onEnter();
      }
      if (event.key.startsWith("Arrow") && !onButton) radios()[0]?.focus();
      const digit = plainDigits(event.key);
      if (!/^\d$/.test(digit)) return;
      const field = document.querySelector<HTMLInputElement>("main input[name=number]");
      if (field) return field.focus();
      typed = event.timeStamp - typedAt < SAME_NUMBER_MS && radioFor(typed + digit) ? typed + digit : digit;
      typedAt = event.timeStamp;
      press(radioFor(typed));
    };
    window.addEventListener("keydown", listen);
    return () => window.removeEventListener("keydown", listen);
  });
}

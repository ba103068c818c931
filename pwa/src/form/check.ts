/** Checks one value against its item. Pure; `today` is `YYYY-MM-DD`. */
import type { Item, Value } from "./due_sheet";

export type ValueFault = "missing" | "not_a_number" | "range" | "step" | "future" | "too_long";

/** Digits of Arabic and Persian keyboards as 0–9. */
export function plainDigits(text: string): string {
  return text.replace(/[\u0660-\u0669\u06f0-\u06f9]/g, (digit) => String(digit.charCodeAt(0) & 15));
}

export function readInteger(text: string): number | null {
  const digits = plainDigits(text).trim();
  return /^\d{1,6}$/.test(digits) ? Number(digits) : null;
}

/**
 * The digits of a number field after something was typed. `added` is what came in just now, `whole` all that the field then holds;
 * on a field that shows an answer given before, and was not touched since (`untouched`), a digit replaces instead of adding.
 */
export function typedDigits(whole: string, added: string | null, untouched: boolean, max: number): string {
  const fresh = untouched && added !== null && /\d/.test(plainDigits(added));
  const digits = plainDigits(fresh ? added : whole).replace(/\D/g, "");
  return digits.replace(/^0+(?=\d)/, "").slice(0, String(max).length);
}

/** Null when the value fits its item. */
export function faultOf(item: Item, value: Value | null, today: string): ValueFault | null {
  if (value === null || value === "") return "missing";
  switch (item.type) {
    case "choice":
      return item.codes.includes(value as number) ? null : "range";
    case "integer":
    case "scale": {
      if (!Number.isInteger(value)) return "not_a_number";
      const number = value as number;
      if (number < item.min || number > item.max) return "range";
      const step = item.type === "integer" ? (item.step ?? 1) : 1;
      return (number - item.min) % step ? "step" : null;
    }
    case "month":
      if (!/^\d{4}-(0[1-9]|1[0-2])$/.test(String(value))) return "missing";
      return String(value) > today.slice(0, 7) ? "future" : null;
    case "text":
      return String(value).length > item.max_length ? "too_long" : null;
  }
}

/** A phone whose clock shows an earlier day than this program was written on is wrong, and bars no date. */
const WRITTEN_ON = "2026-11-01";
const EARLIEST_BIRTH = 1901;

export type BirthFault = "day" | "month" | "year" | "no_such_day" | "future" | "too_old";

/** The ISO date of three typed fields, or the first fault. */
export function readBirthDate(day: string, month: string, year: string, today: string): { born: string } | { fault: BirthFault } {
  const [d, m, y] = [readInteger(day), readInteger(month), readInteger(year)];
  if (d === null || d < 1 || d > 31) return { fault: "day" };
  if (m === null || m < 1 || m > 12) return { fault: "month" };
  if (y === null || plainDigits(year).trim().length !== 4) return { fault: "year" };
  const days = new Date(Date.UTC(2000, m, 0)).getUTCDate();
  const leap = (y % 4 === 0 && y % 100 !== 0) || y % 400 === 0;
  if (d > days || (m === 2 && d === 29 && !leap)) return { fault: "no_such_day" };
  const born = `${String(y).padStart(4, "0")}-${String(m).padStart(2, "0")}-${String(d).padStart(2, "0")}`;
  if (y < EARLIEST_BIRTH) return { fault: "too_old" };
  return born > today && today >= WRITTEN_ON ? { fault: "future" } : { born };
}

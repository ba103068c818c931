/** For which signs the clinic is called today, by how long ago the operation was. Common practice, without a source. Pure. */
import type { Sheet } from "./due_sheet";
import type { MessageKey } from "../i18n/en";

/** In the order shown. Each is named where one of the forms on the phone is of such a time. */
const SIGNS: [MessageKey, Time[]][] = [
  ["caution_wound", ["weeks"]],
  ["caution_fresh_wound", ["unknown"]],
  ["caution_fever", ["before", "weeks", "years", "unknown"]],
  ["caution_hand", ["before", "weeks", "years", "unknown"]],
  ["caution_calf", ["weeks", "unknown"]],
  ["caution_worse", ["before", "weeks", "years", "unknown"]],
  ["caution_new", ["years", "unknown"]],
];

type Time = "before" | "weeks" | "years" | "unknown";

/** `timepoint` is a code of the due sheet, such as `week-6`; days and months count as weeks. */
function timeOf(timepoint: string): Time {
  if (timepoint === "baseline") return "before";
  return timepoint.startsWith("year-") ? "years" : "weeks";
}

/** For so long after an operation its own signs are named, whatever form is open: that of the other shoulder may be of year 5. */
const FRESH_DAYS = 92;

function isFresh({ operated_on }: Sheet, today: string): boolean {
  return Date.parse(today) - Date.parse(operated_on ?? "") <= FRESH_DAYS * 86_400_000;
}

/** The signs to name for a person with these sheets; where they tell no time, those that may fit anybody. */
export function clinicSigns(sheets: Sheet[], today: string): MessageKey[] {
  const times = sheets.flatMap((sheet) => sheet.forms.map((form) => timeOf(form.timepoint)));
  if (sheets.some((sheet) => isFresh(sheet, today))) times.push("weeks");
  if (!times.length) times.push("unknown");
  return SIGNS.filter(([, of]) => of.some((time) => times.includes(time))).map(([key]) => key);
}

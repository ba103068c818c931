/** For which signs the clinic is called today, by how long ago the operation was. Common practice, without a source. Pure. */
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

/** The signs to name for these timepoints; for none, those that may fit anybody. */
export function clinicSigns(timepoints: string[]): MessageKey[] {
  const times = timepoints.length ? timepoints.map(timeOf) : ["unknown"];
  return SIGNS.filter(([, of]) => of.some((time) => times.includes(time))).map(([key]) => key);
}

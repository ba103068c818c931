/** What a person says beside a form, such as that it is not their side: PROTOCOL.md section 4. Pure. */
import type { Sheet } from "./due_sheet";

export const NOTICES = ["wrong_side", "wrong_date", "wrong_person", "died", "stop", "call_me"] as const;
export type NoticeKind = (typeof NOTICES)[number];

export interface Notice {
  kind: NoticeKind;
  /** The form in which it was said; null on the list. */
  form_id: string | null;
  /** With `wrong_side` alone, where the person named it. */
  true_side: "left" | "right" | null;
}

export interface NoticeContext {
  language: string;
  build: string;
  noticed_at: string;
  utc_offset_minutes: number;
  time_zone: string | null;
  clock_skew_ms: number | null;
}

export function noticePayload(notice: Notice, sheet: Sheet, context: NoticeContext): string {
  const { kind, form_id, true_side } = notice;
  const side = kind === "wrong_side" ? true_side : null;
  return JSON.stringify({ format: 1, kind: "notice", notice: kind, form_id, true_side: side, sheet_revision: sheet.revision, ...context });
}

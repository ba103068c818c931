/** Opens the due sheet: PROTOCOL.md section 3. */
import { type Bytes, fromB64u, join, utf8 } from "../bytes";
import type { Form, Sheet } from "../form/due_sheet";

export interface SealedSheet {
  revision: number;
  nonce: string;
  ciphertext: string;
}

export type SheetFault = "not_opened" | "not_json" | "newer";

export class BadSheet extends Error {
  constructor(readonly fault: SheetFault) {
    super(fault);
  }
}

function revisionBytes(revision: number): Bytes {
  const bytes = new Uint8Array(8);
  const view = new DataView(bytes.buffer);
  view.setUint32(0, Math.floor(revision / 2 ** 32));
  view.setUint32(4, revision % 2 ** 32);
  return bytes;
}

/** The plaintext bytes of a sheet. Throws BadSheet `not_opened` for anything altered, short, or meant for another link. */
export async function openSheetBytes(sealed: SealedSheet, dueKey: CryptoKey, lookup: Bytes): Promise<Bytes> {
  try {
    const nonce = fromB64u(sealed.nonce);
    if (nonce.length !== 12 || !Number.isSafeInteger(sealed.revision) || sealed.revision < 0) throw new BadSheet("not_opened");
    const bound = join(utf8("yearmark v1 due sheet\0"), lookup, revisionBytes(sealed.revision));
    const how = { name: "AES-GCM", iv: nonce, additionalData: bound };
    return new Uint8Array(await crypto.subtle.decrypt(how, dueKey, fromB64u(sealed.ciphertext)));
  } catch {
    throw new BadSheet("not_opened");
  }
}

const TYPES = ["choice", "integer", "scale", "month", "text"];

/** A form this build can show: every item is defined, worded and of a type it knows. */
function isUsable(form: Form, sheet: Sheet): boolean {
  return form.parts.every((part) => {
    const definition = sheet.instruments[part.instrument];
    const texts = Object.values(sheet.texts[part.instrument] ?? {});
    return part.items.every((name) => {
      const item = definition?.items.find((each) => each.item === name);
      return item && TYPES.includes(item.type) && texts.length > 0 && texts.every((text) => text.items[name]);
    });
  });
}

/** Reads the plaintext. `newer` means that this build does not know the format or an item's type. */
export function readSheet(bytes: Bytes): Sheet {
  let sheet: Sheet;
  try {
    sheet = JSON.parse(new TextDecoder("utf-8", { fatal: true }).decode(bytes)) as Sheet;
  } catch {
    throw new BadSheet("not_json");
  }
  if (sheet.format !== 1 || !Array.isArray(sheet.forms)) throw new BadSheet("newer");
  if (!sheet.forms.every((form) => isUsable(form, sheet))) throw new BadSheet("newer");
  return sheet;
}

/** The form as the clinic asks for it now, in the texts under which it was begun on this phone, where those still fit its items. */
function inOldTexts(form: Form, fresh: Sheet, old: Sheet): Form {
  const before = old.forms.find((each) => each.form_id === form.form_id);
  const words: Sheet["texts"] = {};
  for (const part of before ? form.parts : []) {
    const then = before?.words?.[part.instrument] ?? old.texts[part.instrument];
    const fits = then && isUsable({ ...form, parts: [part] }, { ...fresh, texts: { [part.instrument]: then } });
    if (fits && JSON.stringify(then) !== JSON.stringify(fresh.texts[part.instrument])) words[part.instrument] = then;
  }
  return Object.keys(words).length ? { ...form, words } : form;
}

/**
 * The new sheet with what this phone still needs of the old one, so that nothing with unsent answers is lost: forms that were
 * begun and are no longer asked for, and the texts of those that were begun and still are. `begun` names the forms with a draft.
 */
export function keepBegunForms(fresh: Sheet | null, old: Sheet | null, begun: ReadonlySet<string>): Sheet | null {
  if (!old) return fresh;
  const asked = new Set((fresh?.forms ?? []).map((form) => form.form_id));
  const kept = old.forms.filter((form) => begun.has(form.form_id) && !asked.has(form.form_id));
  const base = fresh ? { ...fresh, forms: fresh.forms.map((form) => (begun.has(form.form_id) ? inOldTexts(form, fresh, old) : form)) } : { ...old, forms: [] };
  if (!kept.length) return fresh && base;
  return {
    ...base,
    forms: [...base.forms, ...kept.map((form) => ({ ...inOldTexts(form, base, old), gone: true }))],
    instruments: { ...old.instruments, ...base.instruments },
    texts: { ...old.texts, ...base.texts },
  };
}

/** Sealed forms that wait for the clinic's receipt. */
import type { Envelope } from "../seal/seal";
import { type Draft, nameOf } from "./drafts";
import { withNotice, withoutForm, withReceipt } from "./people";
import { type OutboxRow, type PersonRow, type RestoredAt, type Tables, type Trouble, underLink, type WriteOp } from "./tables";

export function newOutboxRow(envelope: Envelope, formId: string, person: PersonRow, now: string): OutboxRow {
  const { envelope_id, text, sha256 } = envelope;
  return { envelope_id, form_id: formId, lookup: person.lookup, proof: person.proof, text, sha256, saved_at: now, trouble: null };
}

/** Stores the envelope and deletes the draft, in one transaction. Throws Conflict when another tab changed the draft meanwhile. */
export async function putInOutbox(row: OutboxRow, draft: Draft, tables: Tables): Promise<void> {
  const ops: WriteOp[] = [{ table: "outbox", put: row }];
  if (draft.seq !== null) ops.push({ table: "drafts", remove: draft.key, based_on: draft.seq });
  await tables.write(ops);
}

/** After a receipt with the right hash: deletes the envelope, and a draft that the disk did not let go before, and notes the form as sent. */
export async function removeReceived(row: OutboxRow, restored_at: RestoredAt, tables: Tables): Promise<void> {
  const { form_id, lookup, envelope_id } = row;
  const ops: WriteOp[] = [{ table: "outbox", remove: envelope_id }];
  const person = await tables.get("people", lookup);
  // A notice belongs to no form.
  if (form_id) {
    const begun = (await tables.all("drafts")).filter((draft) => nameOf(draft) === underLink(lookup, form_id));
    for (const draft of begun) ops.push({ table: "drafts", remove: draft.form_id });
    if (person) ops.push({ table: "people", put: withReceipt(await withoutForm(person, form_id), form_id, restored_at) });
  } else if (person && row.kept) ops.push({ table: "people", put: withNotice(person, row, restored_at) });
  await tables.write(ops);
}

export async function markTrouble(row: OutboxRow, trouble: Trouble, tables: Tables): Promise<void> {
  await tables.write([{ table: "outbox", put: { ...row, trouble } }]);
}

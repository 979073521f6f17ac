/** Reminders: documents that phones may change, one outbox change for each edit, stamped. */
import { Fault } from '../core/fault';
import type { Proposal, Reminder } from '../schema';
import type { Database, OutboxEntry, RecordRow, Stores, Writing } from './database';
import { derivedID } from './ids';
import { queueChange, type Author } from './outbox';

/** A hybrid clock's tick: of two edits of a field the one with the greater stamp stays. */
export interface Stamp {
  wall_ms: number;
  count: number;
  device: string;
}

/** The next tick after `last`: never earlier, even when the calendar clock was set back. */
export function nextStamp(last: Stamp | undefined, wallMS: number, device: string): Stamp {
  if (last !== undefined && last.wall_ms >= wallMS) return { wall_ms: last.wall_ms, count: last.count + 1, device };
  return { wall_ms: wallMS, count: 0, device };
}

/** The id of the reminder that a check asks for: the same each time it is asked. */
export function reminderID(checkID: string, rule: string): Promise<string> {
  return derivedID('reminder', checkID, rule);
}

/** The reminder a finished check proposes. */
export async function proposed(checkID: string, vehicleID: string, proposal: Proposal): Promise<Reminder> {
  return {
    id: await reminderID(checkID, proposal.rule),
    vehicle_id: vehicleID,
    check_id: checkID,
    rule: proposal.rule,
    due_date: proposal.due_date,
    reason: proposal.reason,
  };
}

export interface Edit {
  reminder: Reminder;
  /** Names of the fields that this edit changed. */
  fields: (keyof Reminder)[];
  changeID: string;
  device: string;
  madeMS: number;
  author: Author;
}

type EditStores = ['records', 'outbox', 'meta'];
const STORES: EditStores = ['records', 'outbox', 'meta'];

/** Writes the reminder and its change in the caller's transaction. */
export async function putReminder<Names extends Stores>(tx: Writing<Names>, edit: Edit): Promise<void> {
  const stores = tx as unknown as Writing<EditStores>;
  const meta = stores.objectStore('meta');
  const stamp = nextStamp((await meta.get('stamp')) as Stamp | undefined, edit.madeMS, edit.device);
  await meta.put(stamp, 'stamp');
  const records = stores.objectStore('records');
  const held = await records.get(['reminder', edit.reminder.id]);
  const row: RecordRow = held ?? { kind: 'reminder', id: edit.reminder.id, v: 1, seq: 0, round: 0, body: undefined };
  await records.put({ ...row, body: edit.reminder });
  const body = { reminder: edit.reminder, fields: edit.fields, stamp };
  await queueChange(tx, { id: edit.changeID, kind: 'reminder', v: 1, body }, edit.author, edit.madeMS);
}

/** Like putReminder, unless this phone already holds a reminder of that id. */
export async function addReminderOnce<Names extends Stores>(tx: Writing<Names>, edit: Edit): Promise<void> {
  const stores = tx as unknown as Writing<EditStores>;
  const held = await stores.objectStore('records').get(['reminder', edit.reminder.id]);
  if (held === undefined) await putReminder(tx, edit);
}

/** What travels for one edit. */
export interface ReminderChange {
  reminder: Reminder;
  fields: (keyof Reminder)[];
  stamp: Stamp;
}

/**
 * The reminder as this phone should show it: the server's state with the edits that
 * are not sent yet on top, in the order they were made. undefined: neither exists.
 */
export function overlaid(base: Reminder | undefined, reminderID: string, outbox: OutboxEntry[]): Reminder | undefined {
  let shown = base;
  for (const row of outbox) {
    if (row.kind !== 'reminder' || row.state === 'refused') continue;
    const { reminder, fields } = row.body as ReminderChange;
    if (reminder.id !== reminderID) continue;
    const changed = Object.fromEntries(fields.map((name) => [name, reminder[name]]));
    shown = shown === undefined ? reminder : { ...shown, ...changed };
  }
  return shown;
}

/** The fields that an edit sets. What a reminder is about never changes. */
export function fieldsOf(edit: Partial<Reminder>): (keyof Reminder)[] {
  return (Object.keys(edit) as (keyof Reminder)[]).filter((name) => name !== 'id' && name !== 'vehicle_id');
}

/** Changes the given fields of a reminder this phone holds. Rejects with `not_found`. */
export function editReminder(db: Database, id: string, change: Partial<Reminder>, edit: Omit<Edit, 'reminder' | 'fields'>): Promise<Reminder> {
  return db.write(STORES, async (tx) => {
    const row = await tx.objectStore('records').get(['reminder', id]);
    if (row === undefined) throw new Fault('not_found', 'id', 'this phone holds no such reminder');
    const reminder = { ...(row.body as Reminder), ...change, id };
    await putReminder(tx, { ...edit, reminder, fields: fieldsOf(change) });
    return reminder;
  });
}

export function saveReminder(db: Database, edit: Edit): Promise<void> {
  return db.write(STORES, (tx) => putReminder(tx, edit));
}

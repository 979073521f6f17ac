/** What lists show: checks, reminders and vehicles put together from the database. */
import { Fault } from '../core/fault';
import { dateIn, daysBetween } from '../device/clock';
import type { CheckRow, DueRow, Today, VehiclePage } from '../seams';
import type { Person, Vehicle } from '../schema';
import type { CheckEntry, Database, OutboxEntry } from './database';
import { outboxRows } from './outbox';
import { document, documents, needed, profileEdition } from './records';

const RECENT = 20;

interface Context {
  vehicles: Map<string, Vehicle>;
  persons: Map<string, Person>;
  outbox: OutboxEntry[];
}

async function contextOf(db: Database): Promise<Context> {
  const [vehicles, persons, outbox] = await Promise.all([documents(db, 'vehicle'), documents(db, 'person'), outboxRows(db)]);
  return {
    vehicles: new Map(vehicles.map((v) => [v.id, v])),
    persons: new Map(persons.map((p) => [p.id, p])),
    outbox,
  };
}

function rowOf(entry: CheckEntry, context: Context): CheckRow {
  const mine = context.outbox.filter((row) => row.check_id === entry.id);
  return {
    check: entry.summary,
    vehicle: context.vehicles.get(entry.summary.vehicle_id) ?? entry.basis?.vehicle ?? null,
    person: context.persons.get(entry.summary.person_id) ?? null,
    ours: entry.ours,
    waiting: mine.filter((row) => row.state !== 'refused').length,
    refused: mine.filter((row) => row.state === 'refused').length,
  };
}

const newestFirst = (a: CheckEntry, b: CheckEntry): number => b.summary.started_ms - a.summary.started_ms;

export async function checkRows(db: Database, vehicleID?: string): Promise<CheckRow[]> {
  const context = await contextOf(db);
  const entries = await db.run((open) =>
    vehicleID === undefined ? open.getAll('checks') : open.getAllFromIndex('checks', 'vehicle', vehicleID),
  );
  return entries.sort(newestFirst).map((entry) => rowOf(entry, context));
}

export async function checkRow(db: Database, checkID: string): Promise<CheckRow> {
  const entry = await db.run((open) => open.get('checks', checkID));
  if (entry === undefined) throw new Fault('not_found', 'check_id', 'this phone holds no such check');
  return rowOf(entry, await contextOf(db));
}

export async function todayRows(db: Database, timeZone: string, wallMS: number): Promise<Today> {
  const [rows, reminders, vehicles] = await Promise.all([checkRows(db), documents(db, 'reminder'), documents(db, 'vehicle')]);
  const byID = new Map(vehicles.map((v) => [v.id, v]));
  const date = dateIn(timeZone, wallMS);
  const due: DueRow[] = reminders
    .filter((reminder) => reminder.done_ms === undefined || reminder.done_ms === 0)
    .sort((a, b) => (a.due_date < b.due_date ? -1 : 1))
    .map((reminder) => ({
      reminder,
      vehicle: byID.get(reminder.vehicle_id) ?? null,
      days: daysBetween(date, reminder.due_date),
    }));
  return {
    date,
    running: rows.filter((row) => row.ours && row.check.phase !== 'done'),
    due,
    recent: rows.filter((row) => row.check.phase === 'done').slice(0, RECENT),
  };
}

export async function vehiclePage(db: Database, vehicleID: string): Promise<VehiclePage> {
  const vehicle = await needed(db, 'vehicle', vehicleID, 'vehicle_id');
  const unit = (await document(db, 'unit', vehicle.unit_id)) ?? null;
  const profile = unit === null ? null : await profileEdition(db, unit.profile_id).catch(() => null);
  const reminders = (await documents(db, 'reminder')).filter((reminder) => reminder.vehicle_id === vehicleID);
  reminders.sort((a, b) => (a.due_date < b.due_date ? -1 : 1));
  return { vehicle, unit, profile, checks: await checkRows(db, vehicleID), reminders };
}

/** By label, as a person would look it up. */
export const byLabel = (a: { label: string }, b: { label: string }): number => a.label.localeCompare(b.label);

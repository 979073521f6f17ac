/**
 * What the workshop shares: pulled documents, each as its current state, and of each
 * profile every edition this phone has seen, because a check keeps the edition it began with.
 */
import { Fault } from '../core/fault';
import type { Caution, Person, Profile, Reminder, Unit, Vehicle, Workshop } from '../schema';
import type { Database, RecordRow } from './database';

/** The documents by the kind they are pulled under. */
export interface Documents {
  workshop: Workshop;
  person: Person;
  vehicle: Vehicle;
  unit: Unit;
  profile: Profile;
  caution: Caution;
  reminder: Reminder;
}

export type DocumentKind = keyof Documents;

/** Under this kind every edition of a profile is kept, with the id "profile@edition". */
export const EDITION_KIND = 'profile-edition';
export const editionID = (profileID: string, edition: number): string => `${profileID}@${edition}`;

export async function documents<K extends DocumentKind>(db: Database, kind: K): Promise<Documents[K][]> {
  const range = IDBKeyRange.bound([kind], [kind, []]);
  return (await db.run((open) => open.getAll('records', range))).map((row) => bodyOf<K>(row));
}

/** undefined where this phone holds no such document. */
export async function document<K extends DocumentKind>(
  db: Database,
  kind: K,
  id: string,
): Promise<Documents[K] | undefined> {
  const row = await db.run((open) => open.get('records', [kind, id]));
  return row === undefined ? undefined : bodyOf<K>(row);
}

/** Rejects with `not_found` naming the field. */
export async function needed<K extends DocumentKind>(
  db: Database,
  kind: K,
  id: string,
  field: string,
): Promise<Documents[K]> {
  const found = await document(db, kind, id);
  if (found === undefined) throw new Fault('not_found', field, `this phone does not hold the ${kind}; sync and try again`);
  return found;
}

/** One edition of a profile; the current one without `edition`. Rejects with `not_found`. */
export async function profileEdition(db: Database, profileID: string, edition?: number): Promise<Profile> {
  const current = await document(db, 'profile', profileID);
  if (current !== undefined && (edition === undefined || current.edition === edition)) return current;
  if (edition !== undefined) {
    const row = await db.run((open) => open.get('records', [EDITION_KIND, editionID(profileID, edition)]));
    if (row !== undefined) return bodyOf<'profile'>(row);
  }
  throw new Fault('not_found', 'profile_id', 'this phone does not hold that edition of the profile; sync and try again');
}

function bodyOf<K extends DocumentKind>(row: RecordRow): Documents[K] {
  return row.body as Documents[K];
}

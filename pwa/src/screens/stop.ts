/**
 * Stopping safely, as the screen leads through it. Which orders make this moment safe is
 * the procedure's answer (view.stop_safely); here is only which of them the log already
 * shows as done, and what may follow.
 */
import type { CheckEvent, EventBodies, NotDoneReason, StopReason, View } from '../schema';

/** The reason of the stop that is under way; undefined where none is. A start of the engine ends it. */
export function stopUnderWay(events: readonly CheckEvent[]): StopReason | undefined {
  for (let i = events.length - 1; i >= 0; i--) {
    const e = events[i];
    if (e?.kind === 'engine.started' || e?.kind === 'check.finished') return undefined;
    if (e?.kind === 'stop.begun') return (e.body as EventBodies['stop.begun']).reason;
  }
  return undefined;
}

/** A note of this text was written after the last stop was begun. */
export function notedSinceStop(events: readonly CheckEvent[], text: string): boolean {
  const from = events.findLastIndex((e) => e.kind === 'stop.begun');
  return from >= 0 && events.slice(from).some((e) => e.kind === 'note.written' && (e.body as EventBodies['note.written']).text === text);
}

/** What a person did for which no entry of its own exists. */
export interface ByHand {
  brakeHeld: boolean;
  plugLeft: boolean;
  chocked: boolean;
}

/** The orders still ahead, first one first. */
export function ordersAhead(view: View, done: ByHand): string[] {
  const asked = (view.stop_safely ?? []).filter((order) => order !== 'record_reason');
  const left = asked.filter((order) => {
    if (order === 'hold_brake') return !done.brakeHeld;
    if (order === 'clear_of_vehicle') return view.state.place === 'under';
    if (order === 'park_and_chocks') return !done.chocked;
    if (order === 'go_under' || order === 'plug_in') return !done.plugLeft;
    return true;
  });
  // A plug that was left to get clear goes in last, once it is safe to go back.
  return done.plugLeft && left.length === 0 ? asked.filter((order) => order === 'go_under' || order === 'plug_in') : left;
}

/** The reason under which a check that was stopped so is closed. */
export const closesAs: Record<StopReason, NotDoneReason> = {
  phone_call: 'interrupted',
  person_near: 'unsafe',
  unwell: 'unsafe',
  alarm: 'unsafe',
  weather: 'interrupted',
  wrong_fluid: 'wrong_fluid',
  bad_fluid: 'bad_fluid',
  stalled: 'find_cause',
  overrun: 'overrun',
  reader_dead: 'no_tool',
  plug: 'seized_plug',
  leak: 'find_cause',
  other: 'other',
};

/** Reasons after which this check does not go on, whatever the procedure would let one do. */
const ends: ReadonlySet<StopReason> = new Set(['alarm', 'unwell', 'wrong_fluid', 'bad_fluid', 'plug', 'leak']);

export type GoOn = { may: true } | { may: 'ask' } | { may: false; why: string };

/** Whether the check may go on after the stop. 'ask': only from the seat can the procedure say. */
export function goOn(view: View, reason: StopReason): GoOn {
  if (view.state.fit_final) return { may: false, why: 'fitted' };
  if (ends.has(reason)) return { may: false, why: reason };
  if ((view.allowed_next ?? []).includes('engine.started')) return { may: true };
  if (view.state.place !== 'seat') return { may: 'ask' };
  return { may: false, why: view.state.zone === 'above' ? 'overrun' : 'other' };
}

/** Why the engine is switched off in such a stop. */
export function engineCause(reason: StopReason, plugOut: boolean): 'mechanic' | 'emergency' {
  return plugOut || reason === 'alarm' || reason === 'unwell' || reason === 'person_near' ? 'emergency' : 'mechanic';
}

import type { CheckEvent } from '../schema';
import { say, words } from './index';
import { angle, clock, degreesOf, number, temperature, type TempUnit } from './format';

/** A body from outside: fields are looked at one by one. */
function field(body: unknown, name: string): unknown {
  return typeof body === 'object' && body !== null && name in body ? (body as Record<string, unknown>)[name] : undefined;
}

const text = (body: unknown, name: string): string => {
  const v = field(body, name);
  return typeof v === 'string' ? v : '';
};

const figure = (body: unknown, name: string): number => {
  const v = field(body, name);
  return typeof v === 'number' ? v : Number.NaN;
};

/**
 * What one entry says, without its name: "41 °C, reader" for a temperature. A
 * figure is shown in the unit it was entered in. "" where the name says it all.
 */
export function describe(event: Pick<CheckEvent, 'kind' | 'body'>, unit: TempUnit): string {
  const b = event.body;
  switch (event.kind) {
    case 'reading.taken':
      return `${degreesOf(figure(b, 'value'), text(b, 'unit') === 'F' ? 'F' : 'C', Number.isInteger(figure(b, 'value')) ? 0 : 1)}, ${say('source', text(b, 'source'))}`;
    case 'cold.read': {
      const out = [`${words.go.gearbox} ${temperature(figure(b, 'gearbox_c'), unit)}`];
      if (Number.isFinite(figure(b, 'coolant_c'))) out.push(`${words.go.coolant} ${temperature(figure(b, 'coolant_c'), unit)}`);
      return [...out, `${words.go.air} ${temperature(figure(b, 'air_c'), unit)}`].join(', ');
    }
    case 'attitude.measured':
      return words.go.slopeNow(angle(figure(b, 'pitch_deg')), angle(figure(b, 'roll_deg')));
    case 'fluid.added':
    case 'fluid.caught':
      return `${number(figure(b, 'amount'))}\u00a0${text(b, 'unit') === 'g' ? words.check.grams : words.check.millilitres}`;
    case 'flow.seen':
      return say('seen', text(b, 'seen'));
    case 'place.changed':
      return say('place', text(b, 'to'));
    case 'exercise.position':
      return text(b, 'position');
    case 'exercise.finished':
      return field(b, 'complete') === true ? words.check.exerciseEnd : words.check.exerciseBreak;
    case 'engine.stopped':
      return words.check.causes[text(b, 'cause')] ?? text(b, 'cause');
    case 'go.decided':
      return field(b, 'go') === true ? words.go.start : `${words.go.notToday}: ${say('notDone', text(b, 'reason'))}`;
    case 'plug.closed':
      return field(b, 'final') === true
        ? `${words.check.plugFitted}, ${text(b, 'seal') === 'new' ? words.check.sealNew : words.check.sealReused}, ${number(figure(b, 'torque_nm'))}\u00a0N·m`
        : '';
    case 'stop.begun':
      return say('stopReason', text(b, 'reason'));
    case 'check.finished':
      return text(b, 'outcome') === 'set' ? words.check.finishSet : `${words.check.finishNotDone}: ${say('notDone', text(b, 'reason'))}`;
    case 'check.started':
      return say('reason', text(b, 'reason'));
    case 'note.written':
      return text(b, 'text');
    case 'app.resumed':
      return clock(figure(b, 'hidden_wall_ms') / 1000);
    default:
      return '';
  }
}

/** The entry that a correction points at, and what it makes of it. */
export function correctionOf(event: Pick<CheckEvent, 'kind' | 'body'>): { target: string; void: boolean; body: unknown } | null {
  if (event.kind !== 'entry.corrected') return null;
  return { target: text(event.body, 'event_id'), void: field(event.body, 'void') === true, body: field(event.body, 'body') };
}

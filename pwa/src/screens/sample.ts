/** Invented data for the gallery. */
import type { Caution, CheckEvent, Profile, Vehicle, View, WarmupForecast } from '../schema';
import type { CheckRow } from '../seams';

export type SampleState = 'prepare' | 'warm' | 'exercise' | 'open' | 'thin' | 'over' | 'gap' | 'done' | 'not_done';

const uuid = (n: number) => `00000000-0000-4000-8000-${n.toString().padStart(12, '0')}`;
const startMS = Date.UTC(2026, 4, 12, 6, 40);

export const sampleVehicle: Vehicle = {
  id: uuid(1), label: 'Library bus 3', plate: 'LB 3', unit_id: uuid(2), auto_stop: true, hybrid: false, odometer_km: 184200, place: 'Depot yard',
};

export const sampleProfile: Profile = {
  id: uuid(3), edition: 2, name: '8-speed, longitudinal, torque converter', archetype: 'A', applies_to: 'units with plug on the right', not_for: 'units with two plugs in the pan',
  source: { issuer: 'Invented Gearworks', title: 'Level check', edition: '3', date: '2025-01-01', page: '12', read_by: 'R. Lead', checked_by: '' },
  start_below_c: { value: 30, printed: '30 °C' }, window: { low_c: 30, high_c: 50, printed: '30-50 °C' },
  plug: { role: 'level and fill', where: 'right side, above the pan', drive: 'six-lobe 40', torque_nm: { value: 35, printed: '35 N·m' }, seal: 'new at every opening', ahead_mm: 60, right_mm: 110, place_sd: 15, drop_ul: 38, skin_note: 'exhaust pipe' },
  engine_at_reading: 'idle', selector_at_reading: 'P',
  exercise: { positions: ['P', 'R', 'N', 'D', 'N', 'P'], dwell_s: { value: 6, printed: '6 s' }, when: 'before opening' },
  attitude: { tolerance_deg: { value: 0.5, printed: '0.5°' }, decline_deg: 3, reference: 'sill, right side', free_surface_cm2: 400 },
  fluid: { specification: 'as the source says', density_15c_kg_m3: 850, active_volume_ml: 9000, service_fill_ml: 5500, total_fill_ml: 9400 },
  second_cycle: 'if cooler opened', limits: { add_lot_ml: 250, add_stop_ml: 1500, out_stop_ml: 1500, openings: 4 }, steps: null, branches: null,
};

export const sampleCautions: Caution[] = [
  { id: uuid(10), edition: 1, topic: 'exhaust', applies: ['always'], title: 'Exhaust gas', text: 'Exhaust gas kills without a smell. Run the engine in the open, or lead the gas out and wear an alarm.', gates: true },
  { id: uuid(11), edition: 1, topic: 'stands', applies: ['raised'], title: 'Stands', text: 'Use rated stands on hard, level ground. Chock the wheels that stay down. Never rely on a jack.', gates: true },
];

const bodies: [CheckEvent['kind'], number, unknown][] = [
  ['check.started', 0, { reason: 'level_check', raised: true, indoors: false }],
  ['caution.acknowledged', 60, { caution_id: uuid(10), edition: 1 }],
  ['attitude.measured', 160, { pitch_deg: 0.3, roll_deg: -0.1, sd_deg: 0.1, method: 'reversal', where: 'sill' }],
  ['cold.read', 240, { gearbox_c: 17, coolant_c: 17, air_c: 16, source: 'reader' }],
  ['engine.started', 400, {}],
  ['reading.taken', 470, { value: 21, unit: 'C', source: 'reader' }],
  ['reading.taken', 560, { value: 25, unit: 'C', source: 'reader' }],
  ['entry.corrected', 575, { event_id: uuid(106), body: { value: 24, unit: 'C', source: 'reader' } }],
  ['plug.opened', 900, {}],
  ['flow.seen', 930, { seen: 'thread' }],
  ['fluid.caught', 960, { amount: 180, unit: 'g' }],
];

export const sampleEvents: CheckEvent[] = bodies.map(([kind, at, body], i) => ({
  id: uuid(100 + i), check_id: uuid(4), n: i + 1, prev: i === 0 ? '' : '9f2c4417ab0e'.padEnd(64, '0'), kind, v: 1, wall_ms: startMS + at * 1000, mono_ms: at * 1000, boot: 'sample', body,
}));

export const sampleRow: CheckRow = {
  check: {
    id: uuid(4), vehicle_id: uuid(1), unit_id: uuid(2), profile_id: uuid(3), profile_edition: 2, person_id: uuid(5), device_id: uuid(6), started_ms: startMS, cycle: 1, phase: 'run', status: 'running', events: 11,
  },
  vehicle: sampleVehicle, person: { id: uuid(5), name: 'A. Mechanic', role: 'mechanic' }, ours: true, waiting: 11, refused: 0,
};

const plan = (...list: [string, string, number][]) => {
  let from = 0;
  return list.map(([act, place, typical_s]) => {
    const step = { act, place, from_s: from, typical_s, sd_s: typical_s / 4 };
    from += typical_s;
    return step;
  });
};

/** A forecast that starts at `t` with `now` and rises by `perMin`. */
function forecast(t: number, now: number, perMin: number, low: number | null, high: [number, number, number] | null, fits: number): WarmupForecast {
  const at = (share: number, m: number) => now + (75 - now) * (1 - Math.exp((-perMin * share * m) / (75 - now)));
  return {
    now_c: { p10: now - 0.4, p50: now, p90: now + 0.4 },
    rate_c_per_min: { mean: perMin, sd: 0.2 },
    reaches_low_s: low === null ? null : { p10: t + low * 0.9, p50: t + low, p90: t + low * 1.2, probability: 1 },
    reaches_high_s: high === null ? null : { p10: t + high[0], p50: t + high[1], p90: t + high[2], probability: 1 },
    fits_probability: fits,
    curve: Array.from({ length: 60 }, (_, m) => ({ t_s: t + m * 60, p10: at(0.8, m) - 0.4, p50: at(1, m), p90: at(1.2, m) + 0.4 })),
    model: { rise_c: { mean: 55, sd: 9 }, time_constant_s: { mean: 1700, sd: 300 } },
    doubtful: [],
    codes: [],
  };
}

/** One state of a check as the screens get it. */
export function sampleView(state: SampleState): View {
  const t = 900;
  const base: View = {
    state: {
      check_id: uuid(4), vehicle_id: uuid(1), phase: 'run', events: 11, started_ms: startMS, place: 'under', engine: 'idle', plug_out: false, cracked: true, selector: 'P', exercising: false, exercise_at: -1,
      exercised: true, openings: 0, watching: false, drips: 0, seen: '', temp_c: 38.4, last_reading: { event_id: uuid(206), t_s: t - 42, temp_c: 37, value: 37, unit: 'C', source: 'reader', age_s: 42 },
      added_ml: 0, caught_ml: 0, fit_final: false, zone: 'in_time', cycle: 1, cooler_circuit: 'untouched', irregular: [], elapsed_s: t, engine_on_s: 500, outcome: '', reason: '', unproven: true, profile_id: uuid(3), profile_edition: 2,
    },
    allowed_next: ['place.changed', 'engine.stopped', 'reading.taken', 'plug.opened', 'note.written', 'stop.begun', 'entry.corrected'],
    next: { code: 'open_plug', act: 'plug.opened', place: 'under', text: 'Plug out, pan below, face clear of the hole.' },
    plan: plan(['open', 'under', 40], ['judge', 'under', 150], ['fit', 'under', 60], ['stop', 'seat', 25]),
    timers: [], hazards: ['under_running', 'stands', 'fumes', 'hot_exhaust'],
    stop_safely: ['clear_of_vehicle', 'go_seat', 'engine_off', 'park_and_chocks', 'record_reason'],
    forecast: forecast(t, 38.4, 1.5, null, [412, 505, 640], 0.94),
    go_sheet: { ready: false, items: [], decided: 'go', refused: [] },
    trace: [17, 21, 24, 28, 31, 34, 37].map((c, i) => ({ event_id: uuid(200 + i), t_s: t - 42 - (6 - i) * 95, temp_c: c, doubtful: false })),
  };
  switch (state) {
    case 'prepare':
      return {
        ...base,
        state: { ...base.state, phase: 'prepare', engine: 'off', place: 'beside' },
        go_sheet: {
          ready: false, decided: '', refused: ['attitude.move', 'plug', 'kit'],
          items: [
            { code: 'profile', state: 'yes' }, { code: 'cautions', state: 'open' }, { code: 'attitude', state: 'no', why: 'attitude.move' }, { code: 'cold', state: 'yes' },
            { code: 'start_limit', state: 'yes' }, { code: 'plug', state: 'open' }, { code: 'kit', state: 'open' },
          ],
          tilt: { pitch_deg: 1.1, roll_deg: -0.2, sd_deg: 0.1, method: 'reversal' }, cold: { gearbox_c: 17, coolant_c: 17, air_c: 16, codes: [] },
        },
        tilt: { head_mm: 1.1, shift_ml: 46, sd_ml: 9 },
      };
    case 'warm':
      return {
        ...base,
        state: { ...base.state, place: 'seat', temp_c: 24.6, zone: 'below', last_reading: { event_id: uuid(206), t_s: t - 94, temp_c: 23, value: 23, unit: 'C', source: 'reader', age_s: 94 } },
        next: { code: 'take_reading', act: 'reading.taken', place: 'seat' },
        plan: plan(['open', 'under', 40], ['judge', 'under', 150], ['fit', 'under', 60], ['stop', 'seat', 25]),
        hazards: ['fumes', 'auto_stop'],
        forecast: forecast(t, 24.6, 1.6, 210, [900, 1090, 1380], 0.99),
        trace: [17, 18, 20, 21, 22, 23].map((c, i) => ({ event_id: uuid(201 + i), t_s: t - 94 - (5 - i) * 80, temp_c: c, doubtful: false })),
      };
    case 'exercise':
      return {
        ...base,
        state: { ...base.state, place: 'seat', exercising: true, exercise_at: 2, exercised: false, selector: 'N' },
        allowed_next: ['reading.taken', 'exercise.position', 'exercise.finished', 'engine.stopped', 'stop.begun'],
        next: { code: 'exercise_wait', act: '', place: 'seat', argument: 'N', wait_s: 3.2, text: 'Foot on the brake throughout.' },
        timers: [{ code: 'dwell', kind: 'wait', total_s: 6, elapsed_s: 2.8, left_s: 3.2, certain: true }],
        hazards: ['turning_wheels', 'fumes'],
        plan: plan(['exercise', 'seat', 95], ['open', 'under', 40], ['judge', 'under', 150], ['fit', 'under', 60], ['stop', 'seat', 25]),
      };
    case 'open':
      return {
        ...base,
        state: { ...base.state, plug_out: true, openings: 1 },
        allowed_next: ['place.changed', 'reading.taken', 'plug.closed', 'flow.seen', 'watch.started', 'fluid.added', 'fluid.caught', 'engine.stopped', 'stop.begun'],
        next: { code: 'look', act: 'flow.seen', place: 'under', text: 'Wipe once, then look for ten seconds.' },
        hazards: ['never_stop_engine', 'under_running', 'hot_exhaust'],
        plan: plan(['judge', 'under', 150], ['fit', 'under', 60], ['stop', 'seat', 25]),
        stop_safely: ['plug_in', 'clear_of_vehicle', 'go_seat', 'engine_off', 'park_and_chocks', 'record_reason'],
      };
    case 'thin':
      return {
        ...sampleView('open'),
        state: { ...sampleView('open').state, seen: 'thread', zone: 'in_short', temp_c: 46.1, caught_ml: 210 },
        next: { code: 'close_plug', act: 'plug.closed', place: 'under', argument: 'close_stop_repeat' },
        branch: { seen: 'thread', zone: 'in_short', do: 'close_stop_repeat' },
        plan: plan(['judge', 'under', 150], ['fit', 'under', 60], ['stop', 'seat', 25]),
        forecast: forecast(t, 46.1, 1.5, null, [118, 150, 190], 0.06),
      };
    case 'over':
      return {
        ...base,
        state: { ...base.state, place: 'under', temp_c: 51.3, zone: 'above', irregular: ['restarted'] },
        next: { code: 'go_seat', act: 'place.changed', place: 'seat' },
        plan: plan(['stop', 'seat', 25]),
        forecast: forecast(t, 51.3, 1.4, null, null, 0),
      };
    case 'gap':
      return {
        ...sampleView('open'),
        state: { ...sampleView('open').state, clock_gap: { wall_s: 192, mono_s: 0, restarted: true, t_s: t - 10 } },
        next: { code: 'take_reading', act: 'reading.taken', place: 'under' },
      };
    case 'done':
      return {
        ...base,
        state: { ...base.state, phase: 'done', engine: 'off', fit_final: true, outcome: 'set', irregular: ['unproven_profile'] },
        result: {
          level: {
            reference_c: 40, as_found: { level_ml: -230, sd_ml: 62, method: 'added_to_first_drip' }, as_left: { level_ml: 14, sd_ml: 33 },
            budget: [{ source: 'cooler', shift_ml: -35, sd_ml: 26 }, { source: 'temperature', shift_ml: 8, sd_ml: 14 }, { source: 'tilt', shift_ml: 21, sd_ml: 12 }, { source: 'drip', shift_ml: 0, sd_ml: 9 }],
            band: { low_ml: -78, high_ml: 74, origin: 'window' }, probability: { low: 0.003, in: 0.962, high: 0.035 }, reading: 'in', status: 'provisional', reasons: ['cooler_unproven', 'unproven_profile'], next: ['second_cycle'],
          },
          input: {}, in_ml: 500, out_ml: 270, net_ml: 230, status: 'provisional', plug_in_c: 42.3, reminder: { rule: 'second_cycle', due_date: '2026-05-15', reason: 'reminder.second_cycle' }, unproven: true,
        },
      };
    case 'not_done':
      return {
        ...base,
        state: { ...base.state, phase: 'done', engine: 'off', outcome: 'not_done', reason: 'too_warm' },
        result: {
          level: { reference_c: 40, as_found: null, as_left: null, budget: [], band: { low_ml: -78, high_ml: 74, origin: 'window' }, probability: { low: 0, in: 0, high: 0 }, reading: 'not proven', status: 'not done', reasons: ['not_plugged', 'as_found_not_measured'], next: ['repeat_cold'] },
          input: {}, in_ml: 0, out_ml: 0, net_ml: 0, status: 'not_done', reason: 'too_warm', reminder: { rule: 'repeat_cold', due_date: '2026-05-13', reason: 'reminder.repeat_cold' }, unproven: true,
        },
      };
  }
}

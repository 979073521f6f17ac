/**
 * The words of the trunk in TypeScript: records, events and the view of a check.
 * Names are those of the JSON that Go writes; nothing here computes. A field with
 * `?` may be absent, a field with `| null` is written as null.
 */

export type Role = 'mechanic' | 'lead' | 'manager';

export interface Workshop {
  id: string;
  name: string;
  time_zone: string;
}

export interface Person {
  id: string;
  name: string;
  role: Role;
}

export interface Vehicle {
  id: string;
  label: string;
  plate?: string;
  vin?: string;
  description?: string;
  unit_id: string;
  wheelbase_mm?: number;
  track_mm?: number;
  drive?: 'rear' | 'front' | 'all';
  auto_stop: boolean;
  hybrid: boolean;
  place?: string;
  odometer_km: number;
  customer?: string;
  note?: string;
}

/** One gearbox. It keeps its own history when it moves to another vehicle. */
export interface Unit {
  id: string;
  label: string;
  description: string;
  profile_id: string;
  serial?: string;
  warmer: 'yes' | 'no' | 'unknown';
}

export interface Source {
  issuer: string;
  title: string;
  edition: string;
  date: string;
  page: string;
  read_by: string;
  checked_by: string;
}

export interface Figure {
  value: number;
  printed: string;
}

export interface WindowFigure {
  low_c: number;
  high_c: number;
  printed: string;
}

export interface Plug {
  role: string;
  where: string;
  drive: string;
  torque_nm: Figure | null;
  seal: string;
  ahead_mm: number;
  right_mm: number;
  place_sd: number;
  drop_ul: number;
  skin_note: string;
}

export interface Exercise {
  positions: string[];
  dwell_s: Figure | null;
  when: string;
}

export interface AttitudeRule {
  tolerance_deg: Figure | null;
  decline_deg: number;
  reference: string;
  free_surface_cm2: number;
}

export interface Fluid {
  specification: string;
  density_15c_kg_m3: number;
  active_volume_ml: number;
  service_fill_ml: number;
  total_fill_ml: number;
}

export interface Limits {
  add_lot_ml: number;
  add_stop_ml: number;
  out_stop_ml: number;
  openings: number;
}

export interface Band {
  low_ml: number;
  high_ml: number;
  origin: string;
}

export interface Step {
  id: string;
  act: string;
  place: string;
  engine: string;
  plug: string;
  text: string;
  typical_s: number;
  sd_s: number;
  hazards?: string[];
  may_skip: boolean;
}

export interface Cell {
  do: string;
  unexercised?: string;
}

export interface Branch {
  seen: string;
  below: Cell;
  in_time: Cell;
  in_short: Cell;
  above: Cell;
}

/** One level-check procedure as data. null means "cannot run": nothing is defaulted. */
export interface Profile {
  id: string;
  edition: number;
  name: string;
  archetype: string;
  applies_to: string;
  not_for: string;
  changes?: string;
  source: Source | null;
  start_below_c: Figure | null;
  window: WindowFigure | null;
  plug: Plug | null;
  engine_at_reading: string;
  selector_at_reading: string;
  exercise: Exercise | null;
  attitude: AttitudeRule | null;
  fluid: Fluid | null;
  second_cycle: string;
  limits: Limits | null;
  acceptance?: Band | null;
  steps: Step[] | null;
  branches: Branch[] | null;
}

export interface Caution {
  id: string;
  edition: number;
  topic: string;
  applies: string[];
  title: string;
  text: string;
  gates: boolean;
}

export type ReminderRule = 'second_cycle' | 'wet_spot' | 'level_again' | 'repeat_cold' | 'by_hand';

export interface Reminder {
  id: string;
  vehicle_id: string;
  check_id?: string;
  rule: ReminderRule;
  /** Calendar date, 2006-01-02, in the workshop's time zone. */
  due_date: string;
  due_km?: number;
  reason: string;
  done_ms?: number;
  done_check?: string;
}

export interface Level {
  level_ml: number;
  sd_ml: number;
}

/** The summary of one check, derived by replaying its events. */
export interface Check {
  id: string;
  vehicle_id: string;
  unit_id: string;
  profile_id: string;
  profile_edition: number;
  person_id: string;
  device_id: string;
  started_ms: number;
  ended_ms?: number;
  cycle: number;
  phase: 'empty' | 'prepare' | 'run' | 'done';
  status: 'running' | 'provisional' | 'final' | 'not_done';
  reading?: string;
  as_left?: Level | null;
  as_found?: Level | null;
  reason?: string;
  events: number;
  /** How this gearbox warmed: what the next check expects. */
  warming?: Warming;
}

export interface Warming {
  rise_c: Spread;
  time_constant_s: Spread;
}

/** One fact of a check. Never edited; a correction is a new event naming the old one. */
export interface CheckEvent {
  id: string;
  check_id: string;
  n: number;
  prev: string;
  kind: EventKind;
  v: number;
  wall_ms: number;
  mono_ms: number;
  boot: string;
  body: unknown;
}

export interface AttitudePair {
  pitch_deg: number;
  roll_deg: number;
}

/** The closed lists of the event bodies, as in schema/procedure/events.go. */
export const CIRCUITS = ['untouched', 'opened', 'drained', 'flushed', 'replaced', 'unknown'] as const;
export const READING_SOURCES = ['reader', 'probe', 'gun'] as const;
export const CHECK_REASONS = [
  'level_check', 'after_drain', 'after_repair', 'after_cooler_work', 'leak_search', 'second_cycle', 'complaint',
] as const;
export const STOP_REASONS = [
  'phone_call', 'person_near', 'unwell', 'alarm', 'weather', 'wrong_fluid', 'bad_fluid', 'stalled', 'overrun',
  'reader_dead', 'plug', 'leak', 'other',
] as const;
export const NOT_DONE_REASONS = [
  'too_warm', 'slope', 'cold_implausible', 'overrun', 'no_time', 'bad_fluid', 'wrong_fluid', 'seized_plug',
  'find_cause', 'interrupted', 'unsafe', 'no_tool', 'customer', 'other',
] as const;
export const SEEN_WORDS = [
  'nothing', 'few_drops', 'drops', 'fast_drops', 'thread', 'stream', 'gush', 'pulses', 'foam', 'bad_fluid', 'engine_off',
] as const;

export type Circuit = (typeof CIRCUITS)[number];
export type ReadingSource = (typeof READING_SOURCES)[number];
export type CheckReason = (typeof CHECK_REASONS)[number];
export type StopReason = (typeof STOP_REASONS)[number];
export type NotDoneReason = (typeof NOT_DONE_REASONS)[number];
export type SeenWord = (typeof SEEN_WORDS)[number];

/** The body of each kind of event. */
export interface EventBodies {
  'check.started': {
    vehicle_id: string;
    unit_id: string;
    profile_id: string;
    profile_edition: number;
    person_id: string;
    device_id: string;
    reason: CheckReason;
    cooler_circuit: Circuit;
    cycle: number;
    utc_offset_min: number;
    warmer: 'yes' | 'no' | 'unknown';
    first_check_id?: string;
    hot_drive?: boolean;
    /** What earlier checks of this gearbox let one expect. */
    prior?: Warming;
    raised: boolean;
    indoors: boolean;
  };
  'caution.acknowledged': { caution_id: string; edition: number };
  'attitude.measured': {
    pitch_deg: number;
    roll_deg: number;
    sd_deg: number;
    method: 'reversal' | 'typed';
    first?: AttitudePair;
    turned?: AttitudePair;
    where: string;
  };
  'cold.read': { gearbox_c: number; coolant_c?: number; air_c: number; source: ReadingSource; explained?: string };
  'plug.cracked': Record<string, never>;
  'kit.laid_out': Record<string, never>;
  'go.decided': { go: boolean; reason?: string };
  'place.changed': { to: 'seat' | 'under' | 'beside' };
  'engine.started': Record<string, never>;
  'engine.stopped': { cause: 'mechanic' | 'stalled' | 'emergency' };
  'reading.taken': {
    value: number;
    unit: 'C' | 'F';
    source: ReadingSource;
    confirmed?: boolean;
  };
  'exercise.started': Record<string, never>;
  'exercise.position': { position: string };
  'exercise.finished': { complete: boolean };
  'plug.opened': Record<string, never>;
  'plug.closed': { final: boolean; seal?: 'new' | 'reused'; torque_nm?: number };
  'flow.seen': { seen: SeenWord };
  'watch.started': Record<string, never>;
  'drip.tapped': Record<string, never>;
  'watch.ended': Record<string, never>;
  'fluid.added': { amount: number; unit: 'ml' | 'g'; temp_c?: number };
  'fluid.caught': { amount: number; unit: 'ml' | 'g'; temp_c?: number };
  'entry.corrected': { event_id: string; void?: boolean; body?: unknown };
  'note.written': { text: string };
  'app.resumed': { hidden_wall_ms: number; hidden_mono_ms?: number; restarted: boolean };
  'stop.begun': { reason: StopReason };
  'check.finished': { outcome: 'set'; reason?: string } | { outcome: 'not_done'; reason: NotDoneReason };
}

export type EventKind = keyof EventBodies;

export interface Spread {
  mean: number;
  sd: number;
}

export interface Quantiles {
  p10: number;
  p50: number;
  p90: number;
}

export interface ReachTime extends Quantiles {
  probability: number;
}

export interface CurvePoint extends Quantiles {
  t_s: number;
}

export interface WarmupForecast {
  now_c: Quantiles;
  rate_c_per_min: Spread;
  reaches_low_s: ReachTime | null;
  reaches_high_s: ReachTime | null;
  fits_probability: number | null;
  curve: CurvePoint[];
  model: { rise_c: Spread; time_constant_s: Spread };
  doubtful: number[];
  codes: string[];
}

export interface DripJudgement {
  per_min: { estimate: number; low: number; high: number };
  expected_per_min: Spread;
  ratio: Quantiles;
  class: 'none' | 'below' | 'balanced' | 'above' | 'stream';
  remaining_ml?: Spread | null;
  settles_s?: Quantiles | null;
  advice: string;
  codes?: string[];
}

export interface TiltShift {
  head_mm: number;
  shift_ml: number;
  sd_ml: number;
}

export interface LevelEstimate {
  reference_c: number;
  as_found: (Level & { method: string }) | null;
  as_left: Level | null;
  budget: { source: string; shift_ml: number; sd_ml: number }[];
  band: Band;
  /** null where no level could be stated. */
  probability: { low: number; in: number; high: number } | null;
  reading: string;
  status: string;
  reasons: string[];
  next: string[];
}

/** Everything the screen shows of a check at one moment. */
export interface View {
  state: CheckState;
  /** Event kinds that may be appended now. */
  allowed_next: EventKind[] | null;
  next: Advice;
  plan: PlanStep[] | null;
  timers: Timer[] | null;
  hazards: string[] | null;
  stop_safely: string[] | null;
  forecast?: WarmupForecast;
  drip?: DripJudgement;
  branch?: { seen: string; zone: string; do: string };
  go_sheet: GoSheet;
  tilt?: TiltShift;
  result?: Result;
  trace: TracePoint[] | null;
  /** Of a closed check: what it teaches about the gearbox. */
  warmed?: Warming;
}

export interface CheckState {
  check_id: string;
  vehicle_id: string;
  phase: 'empty' | 'prepare' | 'run' | 'done';
  events: number;
  started_ms: number;
  place: 'seat' | 'under' | 'beside';
  engine: 'off' | 'idle';
  plug_out: boolean;
  cracked: boolean;
  selector: string;
  exercising: boolean;
  exercise_at: number;
  exercised: boolean;
  openings: number;
  watching: boolean;
  drips: number;
  seen: string;
  temp_c: number | null;
  last_reading: ReadingView | null;
  added_ml: number;
  caught_ml: number;
  fit_final: boolean;
  zone: 'below' | 'in_time' | 'in_short' | 'above' | 'unknown';
  cycle: number;
  cooler_circuit: string;
  irregular: string[] | null;
  elapsed_s: number;
  engine_on_s: number;
  outcome: '' | 'set' | 'not_done';
  reason: string;
  clock_gap?: ClockGap;
  unproven: boolean;
  profile_id: string;
  profile_edition: number;
}

export interface ReadingView {
  event_id: string;
  t_s: number;
  temp_c: number;
  value: number;
  unit: 'C' | 'F';
  source: string;
  age_s: number;
}

export interface TracePoint {
  event_id: string;
  t_s: number;
  temp_c: number;
  doubtful: boolean;
}

export interface ClockGap {
  wall_s: number;
  mono_s: number;
  restarted: boolean;
  t_s: number;
}

export interface Advice {
  code: string;
  act: EventKind | '';
  place: 'seat' | 'under' | 'beside';
  step_id?: string;
  text?: string;
  wait_s?: number;
  argument?: string;
  amount_ml?: number;
}

export interface PlanStep {
  act: string;
  place: string;
  from_s: number;
  typical_s: number;
  sd_s: number;
}

export interface Timer {
  code: string;
  kind: 'wait' | 'exposure';
  total_s: number;
  elapsed_s: number;
  left_s: number;
  certain: boolean;
}

export interface GoSheet {
  ready: boolean;
  items: GoItem[] | null;
  decided: '' | 'go' | 'no_go';
  refused: string[] | null;
  tilt?: { pitch_deg: number; roll_deg: number; sd_deg: number; method: string };
  cold?: { gearbox_c: number; coolant_c?: number; air_c: number; codes: string[] | null };
}

export interface GoItem {
  code: string;
  state: 'open' | 'yes' | 'no';
  why?: string;
}

export interface Result {
  level: LevelEstimate;
  input: unknown;
  in_ml: number;
  out_ml: number;
  net_ml: number;
  status: 'provisional' | 'final' | 'not_done';
  reason?: string;
  plug_in_c?: number;
  reminder?: Proposal;
  unproven: boolean;
}

export interface Proposal {
  rule: ReminderRule;
  due_date: string;
  reason: string;
}

/** Everything besides the log that a check is replayed from. */
export interface Basis {
  profile: Profile;
  vehicle: Vehicle;
  unit: Unit;
  cautions: Caution[];
}

/** One moment by both clocks of one page load. */
export interface Moment {
  wall_ms: number;
  mono_ms: number;
  boot: string;
}

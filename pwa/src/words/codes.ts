/**
 * The codes that the trunk and the server use and people must be able to read.
 * codes.test.ts fails for a code listed here without a text in en.ts, and for a
 * code in the Go sources that is missing from these lists.
 */
export const codes = {
  /** schema.SeenWords */
  seen: ['nothing', 'few_drops', 'drops', 'fast_drops', 'thread', 'stream', 'gush', 'pulses', 'foam', 'bad_fluid', 'engine_off'],
  /** schema.DecisionWords */
  decision: ['wait_for_window', 'leave_open', 'watch', 'add_lot', 'add_to_first_drip', 'let_thin', 'fit', 'close_exercise_reopen',
    'close_stop_repeat', 'close_idle_reopen', 'judge_between', 'stop_find_cause', 'stop_vehicle', 'close_restart_exercise'],
  /** schema.StepActs */
  step: ['crack', 'start', 'warm', 'exercise', 'open', 'judge', 'add', 'close', 'fit', 'stop', 'wipe'],
  /** schema.PlaceWords and the places of the procedure */
  place: ['seat', 'under', 'beside', 'bonnet', 'bench', 'drive', 'wait'],
  /** procedure.Circuits */
  circuit: ['untouched', 'opened', 'drained', 'flushed', 'replaced', 'unknown'],
  /** procedure.Sources */
  source: ['reader', 'probe', 'gun'],
  /** procedure.NotDone */
  notDone: ['too_warm', 'slope', 'cold_implausible', 'overrun', 'no_time', 'bad_fluid', 'wrong_fluid', 'seized_plug', 'find_cause',
    'interrupted', 'unsafe', 'no_tool', 'customer', 'other'],
  /** procedure.StopReasons */
  stopReason: ['phone_call', 'person_near', 'unwell', 'alarm', 'weather', 'wrong_fluid', 'bad_fluid', 'stalled', 'overrun', 'reader_dead',
    'plug', 'leak', 'other'],
  /** procedure.Reasons */
  reason: ['level_check', 'after_drain', 'after_repair', 'after_cooler_work', 'leak_search', 'second_cycle', 'complaint'],
  /** schema.Reminder.Rule */
  rule: ['second_cycle', 'wet_spot', 'level_again', 'repeat_cold', 'by_hand'],
  status: ['running', 'provisional', 'final', 'not_done', 'not done'],
  reading: ['in', 'likely in', 'likely low', 'likely high', 'low', 'high', 'not proven'],
  zone: ['below', 'in_time', 'in_short', 'above', 'unknown'],
  topic: ['hot_fluid', 'exhaust', 'running_engine', 'stands', 'moving_parts', 'used_oil'],
  /** advice and high_end of the computation `attitude` */
  attitude: ['level enough', 'level on drive-on pads', 'move the vehicle', 'decline'],
  highEnd: ['front', 'rear', 'left', 'right', 'front left', 'front right', 'rear left', 'rear right'],
  goItem: ['profile', 'cautions', 'attitude', 'cold', 'start_limit', 'plug', 'kit'],
  event: ['check.started', 'caution.acknowledged', 'attitude.measured', 'cold.read', 'plug.cracked', 'kit.laid_out', 'go.decided', 'place.changed',
    'engine.started', 'engine.stopped', 'reading.taken', 'exercise.started', 'exercise.position', 'exercise.finished', 'plug.opened', 'plug.closed',
    'flow.seen', 'watch.started', 'drip.tapped', 'watch.ended', 'fluid.added', 'fluid.caught', 'entry.corrected', 'note.written', 'app.resumed',
    'stop.begun', 'check.finished'],
  drip: ['none', 'below', 'balanced', 'above', 'stream'],
  dripAdvice: ['keep_watching', 'still_draining', 'at_the_lip', 'below_lip', 'dry_is_right', 'count_longer', 'cannot_judge_stream', 'never_stops'],
  advice: ['open_check', 'done', 'no_go', 'decide_go', 'go_profile', 'go_cautions', 'go_attitude', 'go_cold', 'go_start_limit', 'go_kit', 'crack_plug',
    'plug_first', 'tap_drips', 'look', 'watch', 'leave_open', 'let_thin', 'add', 'fit', 'close_plug', 'wipe_and_finish', 'finish_not_done', 'go_seat',
    'go_under', 'start_engine', 'restart_engine', 'stop_engine', 'exercise_start', 'exercise_hold', 'exercise_again', 'exercise_wait', 'exercise_end',
    'exercise_break', 'take_reading', 'warm_up', 'never_warm', 'foam_settle', 'open_plug', 'wait_middle'],
  hazard: ['turning_wheels', 'never_stop_engine', 'under_running', 'stands', 'fumes_indoors', 'fumes', 'moving_parts', 'hot_fluid', 'hot_exhaust',
    'auto_stop', 'hybrid'],
  stopAct: ['hold_brake', 'select_park', 'go_under', 'plug_in', 'clear_of_vehicle', 'go_seat', 'engine_off', 'park_and_chocks', 'record_reason'],
  timer: ['dwell', 'foam', 'engine_on', 'watch'],
  refusal: ['profile', 'profile.missing', 'cautions', 'cautions.missing', 'attitude', 'attitude.decline', 'attitude.move', 'cold', 'cold.substituted',
    'cold.air_differs', 'cold.coolant_differs', 'start_limit', 'start.warm', 'plug', 'kit'],
  irregular: ['broken_off', 'clock_gap', 'restarted', 'seal_reused', 'stalled_plug_out', 'started_warm', 'unproven_profile', 'fitted_engine_off'],
  budget: ['temperature', 'sensor', 'tilt', 'cooler', 'residual', 'drip', 'foam', 'exercise', 'reading_age'],
  levelReason: ['overrun', 'stalled', 'not_plugged', 'plugged_outside_window', 'lip_not_reached', 'dry_at_close', 'below_at_close', 'above_at_close',
    'stream_at_close', 'not_watched', 'exercise_skipped', 'foam', 'attitude_unknown', 'skin_reading', 'clock_gap', 'reading_gap', 'cooler_unproven',
    'cooler_unknown', 'second_cycle_due', 'no_hot_drive', 'unproven_profile', 'as_found_not_measured', 'as_found_temperature_missing',
    'amounts_disagree', 'too_uncertain'],
  levelNext: ['second_cycle', 'measure_attitude', 'second_reading', 'repeat_cold', 'none'],
  method: ['caught_to_balance', 'first_drip', 'added_to_first_drip', 'added_and_caught', 'dripping_at_opening'],
  forecast: ['no_readings', 'engine_stopped', 'flat_line', 'jump', 'equals_coolant', 'substituted_value', 'reading_old', 'in_window', 'above_high',
    'never_low', 'never_high'],
  due: ['reminder.second_cycle', 'reminder.wet_spot', 'reminder.level_again', 'reminder.repeat_cold'],
} as const satisfies Record<string, readonly string[]>;

export type CodeList = keyof typeof codes;

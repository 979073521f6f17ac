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
  goItem: ['profile', 'cautions', 'attitude', 'cold', 'start_limit', 'plug', 'kit'],
  event: ['check.started', 'caution.acknowledged', 'attitude.measured', 'cold.read', 'plug.cracked', 'kit.laid_out', 'go.decided', 'place.changed',
    'engine.started', 'engine.stopped', 'reading.taken', 'exercise.started', 'exercise.position', 'exercise.finished', 'plug.opened', 'plug.closed',
    'flow.seen', 'watch.started', 'drip.tapped', 'watch.ended', 'fluid.added', 'fluid.caught', 'entry.corrected', 'note.written', 'app.resumed',
    'stop.begun', 'check.finished'],
  drip: ['none', 'below', 'balanced', 'above', 'stream'],
} as const satisfies Record<string, readonly string[]>;

export type CodeList = keyof typeof codes;

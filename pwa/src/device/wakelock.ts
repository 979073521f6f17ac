/**
 * Keeps the screen on while a check runs. The platform lets go whenever the app is
 * hidden and may let go when the battery is low, so the lock is asked for again on
 * every return. Where there is no such lock nothing happens: the words tell the
 * person to lengthen the phone's own lock time.
 */
export function keepAwake(): () => void {
  let wanted = true;
  let held: WakeLockSentinel | undefined;

  async function take(): Promise<void> {
    if (!wanted || document.visibilityState !== 'visible' || !('wakeLock' in navigator)) return;
    if (held !== undefined && !held.released) return;
    try {
      const lock = await navigator.wakeLock.request('screen');
      if (wanted) held = lock;
      else await lock.release();
    } catch {
      // Refused, for example at low battery: the next return to the app asks again.
    }
  }

  const onVisible = () => void take();
  document.addEventListener('visibilitychange', onVisible);
  void take();
  return () => {
    wanted = false;
    document.removeEventListener('visibilitychange', onVisible);
    void held?.release().catch(() => undefined);
    held = undefined;
  };
}

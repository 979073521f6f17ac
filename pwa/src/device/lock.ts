/**
 * Named locks across all tabs of the app: one sync, one refresh of the session, one
 * writer of a check at a time. The platform releases a lock when its tab dies, so
 * there is no lease to time out. Browsers without them get locks of this tab alone;
 * the database still refuses a second writer of a check.
 */
const tails = new Map<string, Promise<unknown>>();

export function withLock<T>(name: string, work: () => Promise<T>): Promise<T> {
  const locks: LockManager | null | undefined = navigator.locks;
  if (locks !== undefined && locks !== null) return locks.request(`brimline ${name}`, work) as Promise<T>;
  const before = tails.get(name) ?? Promise.resolve();
  const mine = before.then(work, work);
  const tail = mine.then(
    () => undefined,
    () => undefined,
  );
  tails.set(name, tail);
  void tail.then(() => {
    if (tails.get(name) === tail) tails.delete(name);
  });
  return mine;
}

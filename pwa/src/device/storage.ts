/** What the browser says about keeping our data. Its figures are hints: only a failed write tells the truth. */

/** Asks the browser not to clear our data by itself. Some ask the person, most decide alone. */
export async function askPersistence(): Promise<boolean> {
  try {
    return (await navigator.storage?.persist?.()) ?? false;
  } catch {
    return false;
  }
}

export async function isPersistent(): Promise<boolean | null> {
  try {
    return (await navigator.storage?.persisted?.()) ?? null;
  } catch {
    return null;
  }
}

export async function usage(): Promise<{ used_bytes: number | null; quota_bytes: number | null }> {
  try {
    const estimate = await navigator.storage?.estimate?.();
    return { used_bytes: estimate?.usage ?? null, quota_bytes: estimate?.quota ?? null };
  } catch {
    return { used_bytes: null, quota_bytes: null };
  }
}

/** The app runs from the home screen. */
export function isInstalled(): boolean {
  const ios = (navigator as { standalone?: boolean }).standalone === true;
  return ios || window.matchMedia('(display-mode: standalone)').matches;
}

/** Word to other tabs: what was stored, that they should sync, or how the leading tab's exchange goes. */
export type News =
  | { about: 'check'; check_id: string }
  | { about: 'documents' | 'session' | 'outbox' | 'sync' }
  | { about: 'status'; person_id: string; reached: boolean; mode: 'idle' | 'busy' | 'offline' | 'unwell'; last_ok_ms: number | null };

export interface NewsChannel {
  /** Tells other tabs; this tab already knows. */
  tell(news: News): void;
  close(): void;
}

export function openNews(heard: (news: News) => void): NewsChannel {
  if (typeof BroadcastChannel === 'undefined') return { tell: () => undefined, close: () => undefined };
  const channel = new BroadcastChannel('brimline');
  channel.onmessage = (event: MessageEvent<News>) => heard(event.data);
  return { tell: (news) => channel.postMessage(news), close: () => channel.close() };
}

/** Word to this tab's screens and to other tabs that something was stored. */
export type News = { about: 'check'; check_id: string } | { about: 'documents' } | { about: 'session' } | { about: 'outbox' } | { about: 'sync' };

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

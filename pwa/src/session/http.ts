/**
 * One request to our own server, with its outcome in three kinds: an answer, a problem
 * the server named, or nobody there. A page of a hotel network that answers in its
 * place counts as nobody: content type and shape are checked.
 */

/** Whether the server is there is decided by a real request: its first word comes within this time … */
export const BUDGET_MS = 5_000;
/** … longer by what sending takes over the thinnest link … */
const THIN_LINK_BYTES_PER_MS = 4;
/** … and the whole answer within this time after it. */
const BODY_BUDGET_MS = 45_000;

export type Outcome =
  | { kind: 'answer'; status: number; body: unknown }
  | { kind: 'problem'; status: number; code: string; field: string; detail: string; retryAfterS: number | undefined }
  | { kind: 'unreachable'; reason: string };

export type Fetch = (url: string, init: RequestInit) => Promise<Response>;

export interface Request {
  method: 'GET' | 'POST' | 'DELETE';
  path: string;
  body?: unknown;
  token?: string;
  budgetMS?: number;
}

/** Never rejects. */
export async function request(fetcher: Fetch, asked: Request): Promise<Outcome> {
  const headers: Record<string, string> = { accept: 'application/json, application/problem+json' };
  if (asked.body !== undefined) headers['content-type'] = 'application/json';
  if (asked.token !== undefined) headers['authorization'] = `Bearer ${asked.token}`;
  const gaveUp = new AbortController();
  const text = asked.body === undefined ? '' : JSON.stringify(asked.body);
  const budgetMS = (asked.budgetMS ?? BUDGET_MS) + text.length / THIN_LINK_BYTES_PER_MS;
  let timer = setTimeout(() => gaveUp.abort(), budgetMS);
  const init: RequestInit = {
    method: asked.method,
    headers,
    credentials: 'same-origin',
    cache: 'no-store',
    redirect: 'error',
    signal: gaveUp.signal,
  };
  if (asked.body !== undefined) init.body = text;
  try {
    const response = await fetcher(asked.path, init);
    clearTimeout(timer);
    timer = setTimeout(() => gaveUp.abort(), BODY_BUDGET_MS);
    return await read(response);
  } catch (x) {
    return { kind: 'unreachable', reason: x instanceof Error ? x.message : String(x) };
  } finally {
    clearTimeout(timer);
  }
}

async function read(response: Response): Promise<Outcome> {
  const type = response.headers.get('content-type') ?? '';
  if (response.status === 204) return { kind: 'answer', status: 204, body: undefined };
  if (response.ok) {
    if (!type.startsWith('application/json')) return { kind: 'unreachable', reason: `answered ${type}` };
    return { kind: 'answer', status: response.status, body: await response.json() };
  }
  if (!type.startsWith('application/problem+json')) {
    // A gateway in between failed, or someone else's page: not our server's word.
    return { kind: 'unreachable', reason: `answered ${response.status} ${type}` };
  }
  const problem: unknown = await response.json();
  const retry = Number(response.headers.get('retry-after') ?? Number.NaN);
  return {
    kind: 'problem',
    status: response.status,
    code: textAt(problem, 'code') || `http.${response.status}`,
    field: textAt(problem, 'field'),
    detail: textAt(problem, 'detail') || textAt(problem, 'title'),
    retryAfterS: Number.isFinite(retry) ? retry : undefined,
  };
}

function textAt(value: unknown, name: string): string {
  if (typeof value !== 'object' || value === null) return '';
  const found = (value as Record<string, unknown>)[name];
  return typeof found === 'string' ? found : '';
}

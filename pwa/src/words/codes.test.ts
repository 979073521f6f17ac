import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { codes, type CodeList } from './codes';
import { known, say } from './index';

const repo = join(process.cwd(), '..');

function goText(folder: string): string {
  return readdirSync(join(repo, folder), { recursive: true, encoding: 'utf8' })
    .filter((name) => name.endsWith('.go') && !name.endsWith('_test.go'))
    .map((name) => readFileSync(join(repo, folder, name), 'utf8'))
    .join('\n');
}

/** The words of one `Name = []string{…}` in Go. */
function goList(source: string, name: string): string[] {
  const found = new RegExp(`\\b${name}\\s*=\\s*\\[\\]string\\{([^}]*)\\}`).exec(source);
  if (found?.[1] === undefined) throw new Error(`there is no list ${name} in the Go sources`);
  return [...found[1].matchAll(/"([^"]+)"/g)].map((m) => m[1] ?? '');
}

/** Every first group of a pattern, once. */
const all = (source: string, pattern: RegExp) => [...new Set([...source.matchAll(pattern)].map((m) => m[1] ?? ''))];

describe('every listed code has a text', () => {
  for (const list of Object.keys(codes) as CodeList[]) {
    test.each([...codes[list]])(`${list}: %s`, (code) => {
      expect(known(list, code), `words.code.${list} has no text for "${code}"`).toMatch(/\S/);
    });
  }
});

describe('the lists are those of the trunk', () => {
  const schema = goText('schema');
  const lists: [CodeList, string][] = [
    ['seen', 'SeenWords'], ['decision', 'DecisionWords'], ['step', 'StepActs'], ['circuit', 'Circuits'], ['source', 'Sources'],
    ['notDone', 'NotDone'], ['stopReason', 'StopReasons'], ['reason', 'Reasons'], ['event', 'KindNames'], ['topic', 'NeededTopics'], ['place', 'PlaceWords'],
  ];
  test.each(lists)('%s has every word of %s', (list, name) => {
    expect(codes[list]).toEqual(expect.arrayContaining(goList(schema, name)));
  });

  const procedure = goText('schema/procedure');
  test('advice', () => {
    const said = all(procedure, /Advice\{Code: "([a-z_]+)"/g);
    expect(said.length).toBeGreaterThan(25);
    expect(codes.advice).toEqual(expect.arrayContaining(said));
  });
  test('irregular', () => {
    const said = all(procedure, /\.mark\("([a-z_]+)"\)/g);
    expect(said.length).toBeGreaterThan(5);
    expect(codes.irregular).toEqual(expect.arrayContaining(said));
  });
  test('hazards', () => {
    const body = /func \(m \*machine\) hazards[\s\S]*?\n\}/.exec(procedure)?.[0] ?? '';
    const said = all(body, /add\([^;\n]*, "([a-z_]+)"\)/g);
    expect(said.length).toBeGreaterThan(8);
    expect(codes.hazard).toEqual(expect.arrayContaining(said));
  });
  test('safe stop', () => {
    const body = /func \(m \*machine\) stopSafely[\s\S]*?\n\}/.exec(procedure)?.[0] ?? '';
    const said = all(body, /"([a-z]+_[a-z_]+)"/g);
    expect(said.length).toBeGreaterThan(7);
    expect(codes.stopAct).toEqual(expect.arrayContaining(said));
  });
});

test('every refusal of the trunk and the server has a text', () => {
  const source = ['schema', 'server', 'sync'].map(goText).join('\n');
  const said = all(source, /(?:fault\.Bad|refuse)\("([a-z_.]+[a-z_])"|fault\.New\(fault\.[A-Za-z]+, "([a-z_.]+[a-z_])"/g).filter((code) => code !== '');
  expect(said.length).toBeGreaterThan(60);
  expect(said.filter((code) => known('problem', code) === undefined)).toEqual([]);
});

test('an unknown code is shown as it is', () => {
  expect(say('advice', 'from_a_newer_trunk')).toBe('from_a_newer_trunk');
  expect(say('advice', 'constructor')).toBe('constructor');
});

import { expect, test } from 'vitest';
import { parseRoute } from './route.svelte';

test.each([
  ['/', { name: 'today' }],
  ['/device/', { name: 'device' }],
  ['/vehicle/v1', { name: 'vehicle', id: 'v1' }],
  ['/check/c1', { name: 'check', id: 'c1' }],
  ['/fleet', { name: 'fleet' }],
  ['/fleet/check/c1', { name: 'fleetCheck', id: 'c1' }],
  ['/vehicle', { name: 'lost' }],
  ['/check/c1/more', { name: 'lost' }],
  ['/fleet/other/c1', { name: 'lost' }],
  ['/constructor', { name: 'lost' }],
])('%s', (path, want) => expect(parseRoute(path)).toEqual(want));

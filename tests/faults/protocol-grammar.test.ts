import { expect, test } from 'vitest';
import { openRpcDocument } from '../../src/api/openrpc.ts';
import { Dice } from './dice.ts';
import { apiOf, HARMLESS_ONLY, message } from './protocol-grammar.ts';

function requestsIn(text: string): { method?: unknown; params?: unknown }[] {
  try {
    const parsed = JSON.parse(text);
    return (Array.isArray(parsed) ? parsed : [parsed]).filter((one) => Object(one) === one);
  } catch {
    return [];
  }
}

/** Parameters that no method takes. */
const isSurplus = (params: unknown): boolean =>
  Object(params) === params && Object.hasOwn(params as object, 'surplus');

test('the messages ask for nothing that every session may do to the prop', () => {
  const api = apiOf(openRpcDocument());
  const harmful: string[] = [];
  let named = 0;
  for (let seed = 1; seed <= 2000; seed++) {
    const dice = new Dice(seed);
    for (let n = 0; n < 50; n++) {
      const { text } = message(dice, api, 'r0');
      const asked = requestsIn(text).filter(
        ({ method }) => typeof method === 'string' && HARMLESS_ONLY.has(method),
      );
      named += asked.length;
      if (!asked.every(({ params }) => isSurplus(params))) harmful.push(text);
    }
  }
  expect(harmful.slice(0, 3)).toEqual([]);
  expect(named).toBeGreaterThan(1000);
});

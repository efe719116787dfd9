import { expect, it } from 'vitest';
import {
  answerAsk,
  type Command,
  MESSAGE_LIMIT_BYTES,
  messages,
  read,
  type Status,
  topics,
  write,
} from '../../src/show/wire.ts';
import fc from '../fast-check.ts';

const bytes = (text: string) => new TextEncoder().encode(text);

const GO = {
  v: 1,
  id: 'a1b2c3d4',
  from: 'desk',
  clock: 'clock-0001',
  sentMs: 1000,
  voidAfterMs: 5000,
  act: 'go',
  cue: 'wake',
  atMs: 2000,
} as const satisfies Command;

const { cue: _, atMs: __, ...BARE } = GO;

const STATUS: Status = {
  v: 1,
  prop: 'owl',
  gone: false,
  name: 'Foyer owl',
  groups: ['birds'],
  condition: 'live',
  cause: { code: 'wake.asked', who: 'show foyer (desk)', words: 'woken' },
  armed: true,
  armedBy: 'tablet',
  holder: null,
  lockout: false,
  runs: ['wake'],
  waits: 0,
  cues: ['wake'],
  cuesLeftOut: 0,
  battery: { sense: 'battery', volts: 7.4, low: false },
  version: '0.1.0',
  file: 'abc',
  clocks: [{ clock: 'clock-0001', offsetMs: 3, uncertaintyMs: 1, delayMs: 2 }],
  problems: [],
};

it('every message is read as it was written', () => {
  const again = (kind: Parameters<typeof read>[0], message: Parameters<typeof write>[0]) =>
    expect(read(kind, bytes(write(message)))).toEqual({ message });
  again('command', GO);
  for (const act of ['end', 'park', 'lockout'] as const) again('command', { ...BARE, act });
  again('command', { ...BARE, act: 'stop', category: 0 });
  again('answer', { v: 1, prop: 'owl', id: GO.id, act: 'go', outcome: 'waits' });
  again('status', STATUS);
  again('status', { v: 1, prop: 'owl', gone: true });
  const ask = { v: 1, prop: 'owl', ask: 'ask-00001', t1: 5 } as const;
  again('ask', ask);
  again('time', answerAsk(ask, 'clock-0001', 6, 7));
  again('here', { v: 1, clock: 'clock-0001', from: 'desk' });
});

it('of a later release, a report is read without the keys that are not known', () => {
  const later = { ...STATUS, mood: 'calm', battery: { ...STATUS.battery, cells: 2 } };
  expect(read('status', bytes(JSON.stringify(later)))).toEqual({ message: STATUS });
  const answer = { v: 1, prop: 'owl', id: GO.id, act: 'go', outcome: 'waits' } as const;
  expect(read('answer', bytes(JSON.stringify({ ...answer, mood: 'calm' })))).toEqual({
    message: answer,
  });
});

it('a stop is of category 1 unless it says otherwise', () => {
  expect(read('command', bytes(JSON.stringify({ ...BARE, act: 'stop' })))).toMatchObject({
    message: { act: 'stop', category: 1 },
  });
});

it.each([
  ['no JSON', '{'],
  ['not UTF-8', undefined],
  ['another version', JSON.stringify({ ...GO, v: 2 })],
  ['a key too many', JSON.stringify({ ...GO, channel: 'beak' })],
  ['no time', JSON.stringify({ ...GO, atMs: undefined })],
  ['a time that is not finite', JSON.stringify(GO).replace('2000', '1e999')],
  ['a cue with the name of a path', JSON.stringify({ ...GO, cue: '../../etc/passwd' })],
  ['an id with a wildcard', JSON.stringify({ ...GO, id: 'aaaaaaa#' })],
  ['a jog', JSON.stringify({ ...BARE, act: 'jog', channel: 'beak', byDeg: 5 })],
  ['a limit', JSON.stringify({ ...BARE, act: 'limits.capture' })],
  ['a category that there is not', JSON.stringify({ ...BARE, act: 'stop', category: 3 })],
  ['what is valid for ever', JSON.stringify({ ...GO, voidAfterMs: 1e9 })],
  ['too much', JSON.stringify({ ...GO, from: 'x'.repeat(MESSAGE_LIMIT_BYTES) })],
  ['deep', `${'['.repeat(8000)}${']'.repeat(8000)}`],
  ['a prototype', '{"__proto__":{"v":1},"act":"stop"}'],
])('a command that is not one is dropped: %s', (_what, text) => {
  const payload = text === undefined ? new Uint8Array([0x22, 0xff, 0x22]) : bytes(text);
  expect(read('command', payload)).toHaveProperty('wrong');
});

it('why is said without anything of the payload', () => {
  fc.assert(
    fc.property(fc.json(), fc.string({ minLength: 5 }), (json, key) => {
      const payload = `{"v":1,"secret-${key.replace(/["\\\n]/g, '')}":${json},"act":"go"}`;
      const read_ = read('command', bytes(payload));
      expect(JSON.stringify(read_)).not.toContain('secret');
    }),
  );
});

it('topics are those of the show alone', () => {
  expect(topics.command('foyer', 'owl')).toBe('sinew/foyer/prop/owl/command');
  expect(topics.groupCommand('foyer', 'birds')).toBe('sinew/foyer/group/birds/command');
  expect(topics.allCommand('foyer')).toBe('sinew/foyer/all/command');
  expect(topics.time('foyer', 'here')).not.toBe(topics.here('foyer'));
});

it('the schemas are made once', () => {
  expect(messages()).toBe(messages());
});

import { describe, test } from 'vitest';
import { expectFindings, propText, relay, servo } from './helpers.ts';

// The mark » stands before the place of the finding.

const CHANNELS = `s: ${servo(4)}
  l: { kind: lamp, output: { board: head, pin: 12 } }
  c: { kind: rgb, output: { board: head, pins: [5, 6, 13], common: anode } }
  f: ${relay(7)}`;

function expectMap(map: string, expected: Parameters<typeof expectFindings>[1], more = ''): void {
  expectFindings(propText(CHANNELS, `e131: { universe: 1, ${more}map: { ${map} } }`), expected);
}

describe('levels of a lighting desk', () => {
  test('that are fine, up to the last address', () => {
    expectMap('l: { address: 1 }, c: { address: 507, bits: 16 }', []);
    expectMap('s: { address: 1, allowMotion: true, from: 0, to: 10 }', []);
  });

  test('of what is not there, or must not be led', () => {
    expectMap('ll: »{ address: 1 }', [{ path: 'e131.map.ll', wrong: 'no channel ll', right: 'l' }]);
    expectMap('f: »{ address: 1 }', [
      { path: 'e131.map.f', wrong: 'is a relay', right: 'trigger with a cue' },
    ]);
    expectMap('s: »{ address: 1 }', [
      { path: 'e131.map.s', wrong: 'would move it', right: 'allowMotion: true' },
    ]);
  });

  test('with ends that cannot be', () => {
    expectMap('s: { address: 1, allowMotion: true, to: »400 }', [{ wrong: 'outside the soft' }]);
    expectMap('l: { address: 1, from: »0 }', [{ wrong: 'not a servo', right: 'remove' }]);
  });

  test('beyond the universe, or in use already', () => {
    expectMap('c: { address: »508, bits: 16 }', [
      { path: 'e131.map.c.address', wrong: 'addresses 508 to 513', right: 'give 507 or less' },
    ]);
    expectMap('c: { address: 1 }, l: { address: »3 }', [
      { severity: 'warning', wrong: 'l and c take the same address', right: 'another' },
    ]);
  });

  test('from anybody who reaches the interface', () => {
    expectMap(
      'l: { address: 1 }',
      [{ severity: 'warning', wrong: 'no token: whoever reaches UDP port 5568 at 10.0.0.2' }],
      'interface: »10.0.0.2, ',
    );
  });
});

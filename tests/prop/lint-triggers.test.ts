import { describe, expect, test } from 'vitest';
import { parseProp } from '../../src/prop/load.ts';
import { expectFindings, propText, relay, servo } from './helpers.ts';

// Rules without a source are common practice. The mark » stands before the place of the finding.

const CHANNELS = `s: ${servo(4)}
  l: { kind: lamp, output: { board: head, pin: 12 } }`;
const CUES = `cues:
  nod: [{ at: 0, move: { s: 5 } }]
  blink: [{ at: 0, dim: { l: 1 } }, { at: 1, dim: { l: 0 } }]
  forever: [{ at: 0, cue: blink, times: until stopped }]
  maybe: [{ at: 0, choose: [nod, forever] }]
`;

type Expected = Parameters<typeof expectFindings>[1];

function expectRest(rest: string, expected: Expected, boards?: string): void {
  expectFindings(propText(CHANNELS, CUES + rest, boards), expected);
}

describe('idle behaviour', () => {
  const idle = (play: string) => `idle: { alive: { plays: [{ ${play} }] } }`;

  test('of cues that are there and end', () => {
    expectRest(idle('cue: blink, everyS: [2, 2]'), []);
    expectRest(idle('cue: »blnik, everyS: [2, 6]'), [
      { path: 'idle.alive.plays[0].cue', wrong: 'no cue blnik', right: 'did you mean blink' },
    ]);
    for (const cue of ['forever', 'maybe'])
      expectRest(idle(`cue: »${cue}, everyS: [2, 6]`), [
        { path: 'idle.alive.plays[0].cue', wrong: `cue ${cue} goes on until it is stopped` },
      ]);
  });

  test('with pauses the wrong way round', () => {
    expectRest(idle('cue: blink, everyS: »[6, 2]'), [
      { path: 'idle.alive.plays[0].everyS', wrong: 'shortest pause 6 s is longer', right: 'first' },
    ]);
    expectRest(idle('cue: blink, everyS: [»-1, 2]'), [{ wrong: 'too low' }]);
  });
});

describe('triggers', () => {
  const trigger = (text: string) => `triggers: { t: { ${text} } }\n`;
  const pins = (pin: string, more = '') =>
    trigger(`input: { board: head, pin: ${pin}${more} }, cue: nod`);

  test('that are fine', () => {
    expectRest(pins('17'), []);
    expectRest(trigger('daily: "10:30", cue: forever'), []);
    const osc = 'a: { osc: /owl/nod, cue: nod }, b: { osc: /owl/nod, cue: blink }';
    expectRest(`osc: { port: 9000 }\ntriggers: { ${osc} }`, []);
    const daily = 'a: { daily: "10:30", cue: nod }, b: { daily: "10:30", cue: blink }';
    expectRest(`triggers: { ${daily} }`, []);
  });

  test('with an unknown cue', () => {
    expectRest(trigger('daily: "10:30", cue: »nob'), [
      { path: 'triggers.t.cue', wrong: 'no cue nob', right: 'did you mean nod' },
    ]);
  });

  test('by none or two of the ways', () => {
    expectRest('triggers: { t: »{ cue: nod } }', [{ wrong: 'needs one of', right: 'exactly one' }]);
    expectRest('triggers: { t: »{ start: true, daily: "10:30", cue: nod } }', [
      { wrong: 'needs one of' },
    ]);
  });

  test('on a pin that is in use', () => {
    expectRest(pins('»4'), [{ path: 'triggers.t.input.pin', wrong: 'pin 4 is taken by s' }]);
    expectRest(`stopInput: { board: head, pin: 17 }\n${pins('»17')}`, [
      { wrong: 'taken by stopInput' },
    ]);
    const two =
      '{ t: { input: { board: head, pin: 17 }, cue: nod }, u: { input: { board: head, pin: »17 }, cue: nod } }';
    expectRest(`triggers: ${two}`, [{ path: 'triggers.u.input.pin', wrong: 'taken by trigger t' }]);
  });

  test('on a pin that is kept, or not there', () => {
    expectRest(pins('»28'), [{ wrong: 'no GPIO 28' }]);
    expectRest(pins('»0'), [{ wrong: 'ID EEPROM' }]);
    expectRest(pins('»14'), [{ severity: 'warning', wrong: 'serial console' }]);
  });

  test('on a board that is not there, or has no inputs', () => {
    expectRest(trigger('input: { board: »haed, pin: 17 }, cue: nod'), [
      { path: 'triggers.t.input.board', wrong: 'no board haed' },
    ]);
    // PCA9685 datasheet: 16 outputs, no inputs (from memory).
    expectRest(
      trigger('input: { board: »chip, pin: 5 }, cue: nod'),
      [{ path: 'triggers.t.input.board', wrong: 'no inputs', right: 'wire the contact' }],
      'head: { driver: sim }\n  chip: { driver: pca9685, bus: 1, address: 0x40 }',
    );
  });

  test('by OSC that has no port', () => {
    expectRest(trigger('osc: »/owl/nod, cue: nod'), [
      { path: 'triggers.t.osc', wrong: 'no port for OSC', right: 'port' },
    ]);
    expectRest(`osc: { port: »0 }\n${trigger('osc: /owl/nod, cue: nod')}`, [{ wrong: 'too low' }]);
    expectRest('osc: »{ port: 9000 }', [{ severity: 'warning', wrong: 'no trigger listens' }]);
  });

  test('addresses that lead servos, of what is there and within its limits', () => {
    const osc = (perform: string) => `osc: { port: 9000, perform: { ${perform} } }`;
    expectRest(osc('/owl/lid: { channel: s, from: 0, to: 10 }'), []);
    expectRest(osc('/owl/lid: { channel: »ss }'), [
      { path: 'osc.perform."/owl/lid".channel', wrong: 'no channel ss', right: 's' },
    ]);
    expectRest(osc('/owl/fan: { channel: »l }'), [
      { path: 'osc.perform."/owl/fan".channel', wrong: 'not a servo' },
    ]);
    expectRest(osc('/owl/lid: { channel: s, to: »400 }'), [
      { path: 'osc.perform."/owl/lid".to', wrong: 'outside the soft limits' },
    ]);
    expectRest(osc('/owl/lid: { channel: s, from: »upp }'), [
      { path: 'osc.perform."/owl/lid".from', wrong: 'no mark' },
    ]);
    expectRest(`${osc('/nod: »{ channel: s }')}\n${trigger('osc: /nod, cue: nod')}`, [
      { path: 'osc.perform."/nod"', wrong: 'same address', right: 'another' },
    ]);
    expectRest(osc('»"no address": { channel: s }'), [{ wrong: 'not an OSC address' }]);
  });

  test.each(['0.0.0.0', '192.168.1.20', '"::"', 'stage.local', '127.example.org'])(
    'by OSC from anybody who reaches %s',
    (host) => {
      expectRest(`osc: { port: 9000, host: »${host} }\n${trigger('osc: /nod, cue: nod')}`, [
        { severity: 'warning', path: 'osc.host', wrong: 'no token', right: '127.0.0.1' },
      ]);
    },
  );

  // RFC 1122, section 3.2.1.3: 127.0.0.0/8. RFC 4291, section 2.5.3: ::1.
  test.each(['127.0.0.1', '127.3.2.1', '"::1"', 'localhost'])(
    'by OSC from this computer, %s',
    (host) => {
      expectRest(`osc: { port: 9000, host: ${host} }\n${trigger('osc: /nod, cue: nod')}`, []);
    },
  );

  test('that wake the prop with nobody in control', () => {
    const caution = {
      severity: 'note' as const,
      path: 'triggers.t.unattended',
      wrong: 'the prop wakes and moves with nobody in control',
      right: /pinch points.*notice.*power switch.*local rules/,
    };
    expectRest(trigger('daily: "10:30", cue: nod, unattended: »true'), [caution]);
    expectRest(trigger('start: true, cue: nod, unattended: »true'), [caution]);
    for (const cue of ['forever', 'maybe'])
      expectRest(trigger(`daily: "10:30", cue: »${cue}, unattended: »true`), [
        { path: 'triggers.t.cue', wrong: 'would never park' },
        caution,
      ]);
    // A note blocks nothing.
    const text = propText(CHANNELS, CUES + trigger('start: true, cue: nod, unattended: true'));
    expect(parseProp(text, 'f').prop).toBeDefined();
    // No servo, nothing that moves.
    expectFindings(
      propText(
        `r: ${relay(7)}`,
        'cues: { c: [{ at: 0, switch: { r: on } }] }\ntriggers: { t: { daily: "10:30", cue: c, unattended: »true } }',
      ),
      [{ severity: 'note', wrong: 'wakes and switches with nobody in control' }],
    );
  });

  test('at the start, which needs that', () => {
    expectRest(trigger('start: »true, cue: nod'), [
      { severity: 'warning', path: 'triggers.t.start', wrong: 'never runs', right: 'unattended' },
    ]);
  });
});

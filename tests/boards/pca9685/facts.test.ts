import { describe, expect, test } from 'vitest';
import { Pca9685Driver } from '../../../src/boards/pca9685/driver.ts';
import { type Pca9685Board, pca9685 } from '../../../src/boards/pca9685/facts.ts';
import { parseProp } from '../../../src/prop/load.ts';
import { traceFault } from '../../../src/prop/trace.ts';
import fc from '../../fast-check.ts';
import { expectFindings, propText, servo } from '../../prop/helpers.ts';
import { pulse } from '../outputs.ts';
import { Chip, Wire } from './model.ts';

const entry = (hz: number | string, oscillatorHz = 25e6) =>
  `{ driver: pca9685, bus: 1, address: 0x40, frequencyHz: ${hz}, oscillatorHz: ${oscillatorHz} }`;
const withPulses = (lowUs: number, highUs: number, hz: number, oscillatorHz = 25e6) =>
  propText(
    `a: ${servo(4, { envelopeUs: `[${lowUs}, ${highUs}]`, limitsDeg: '[-45, 45]' })}`,
    '',
    `head: ${entry(hz, oscillatorHz)}`,
  );

/** The board of a file without errors; undefined for one with errors. */
function accepted(text: string): Pca9685Board | undefined {
  return parseProp(text, 'test.yaml').prop?.boards.head as Pca9685Board | undefined;
}

/** Sends a pulse to output 4 of a chip that is made as the board says. */
async function send(board: Pca9685Board, us: number): Promise<void> {
  const driver = new Pca9685Driver(board, {
    openBus: async () => new Wire(new Chip(0x40, board.oscillatorHz)),
    wait: async () => {},
  });
  await driver.open([pulse(4)], []);
  const frame = { count: 1, output: Uint16Array.of(0), value: Float64Array.of(us) };
  driver.write(frame, 1000);
  await driver.close();
}

describe('the rate of a chip is the one that its prescaler gives', () => {
  // By hand, with equation 1 of the NXP PCA9685 data sheet (rev. 4, 7.3.5, from memory): 25 MHz / 4096 is 6103.5 Hz; 330 Hz asks for
  // 18.5 of it and gets 18, a period of 2949 us; 398 Hz asks for 15.3 and gets 15, 2457.6 us.
  test.each([
    [330, 2960, '339.1 Hz'],
    [398, 2480, '406.9 Hz'],
  ])('at %d Hz a pulse of %d us does not fit', (hz, us, real) => {
    const text = withPulses(1000, us, hz).replace('pin: 4', 'pin: »4');
    expectFindings(text, [{ wrong: real, right: 'lower frequencyHz' }]);
    expect(accepted(withPulses(1000, us - 50, hz))).toBeDefined();
  });

  test('a rate that the clock cannot be divided to is an error of the file', () => {
    const at = (hz: string, oscillatorHz: number) =>
      propText(`a: ${servo(4)}`, '', `head: ${entry(hz, oscillatorHz)}`);
    // 50 MHz / 4096 / 256 is 47.7 Hz; 1 MHz / 4096 / 4 is 61 Hz.
    expectFindings(at('»24', 50e6), [
      { path: 'boards.head.frequencyHz', wrong: 'cannot make 24 Hz', right: 'between 48 and 1526' },
    ]);
    expectFindings(at('»100', 1e6), [
      { path: 'boards.head.frequencyHz', wrong: 'cannot make 100 Hz', right: 'between 24 and 61' },
    ]);
    expectFindings(at('48', 50e6), []);
  });

  test('what check accepts the driver sends, and in the steps that check counts in', async () => {
    await fc.assert(
      fc.asyncProperty(
        fc.integer({ min: 24, max: 1526 }),
        fc.integer({ min: 1e6, max: 50e6 }),
        fc.integer({ min: 2000, max: 3000 }),
        async (hz, oscillatorHz, highUs) => {
          const board = accepted(withPulses(1000, highUs, hz, oscillatorHz));
          if (!board) return;
          await send(board, highUs);
          const { pulseStepUs } = new Pca9685Driver(board);
          expect(pca9685.pulseStepUs(board)).toBe(pulseStepUs);
          expect(pca9685.pulseHz(board)).toBeCloseTo(1e6 / (4096 * pulseStepUs), 9);
          expect(pca9685.lightHz(board)).toBe(pca9685.pulseHz(board));
        },
      ),
      { numRuns: 200 },
    );
  });

  test('a light is said to flicker by what the chip makes', () => {
    const lamp = (board: string) => `a: { kind: lamp, output: { board: ${board}head, pin: 4 } }`;
    // 25.2 MHz / 4096 / 62 is 99.2 Hz.
    expectFindings(propText(lamp('»'), '', `head: ${entry(100, 25.2e6)}`), [
      { wrong: 'at the 99.2 Hz of board head', right: 'frequencyHz: 1000' },
    ]);
    expectFindings(propText(lamp(''), '', `head: ${entry(100)}`), []);
  });

  test('a meter shows the pulses at the rate that the chip makes', () => {
    const wire =
      '{ label: W1, cores: [{ role: signal, colour: YE, from: HD-4, to: S1-1 }, { role: plus, colour: RD, from: T1-1, to: S1-2 }, { role: return, colour: BK, from: T1-2, to: S1-3 }] }';
    const { prop } = parseProp(
      propText(`a: ${servo(4, { wire })}`, '', `head: ${entry(330).replace('{', '{ vddV: 3.3,')}`),
      'test.yaml',
    );
    const texts = traceFault(prop!, 'a').steps.map(({ expect: text }) => text);
    // 1 ms and 2 ms at 339.1 Hz and 3.3 V (mean of a rectangular wave).
    expect(texts.join()).toContain('sinew move a -45: 1.12 V; sinew move a 45: 2.24 V');
  });
});

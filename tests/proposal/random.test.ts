import { expect, test } from 'vitest';
import { reservedFor } from '../../src/boards/header.ts';
import { factsOf } from '../../src/boards/registry.ts';
import { budgetOf } from '../../src/prop/budget.ts';
import { editProp, formatFinding, parseProp } from '../../src/prop/load.ts';
import { Loom } from '../../src/prop/loom.ts';
import { boardPins } from '../../src/prop/pins.ts';
import type { Prop } from '../../src/prop/schema.ts';
import { propose } from '../../src/proposal/propose.ts';
import { proposeWiring } from '../../src/proposal/wiring.ts';
import fc from '../fast-check.ts';
import { someAnswers } from './some-answers.ts';

/** Whatever a maker answers, the proposed file is one that check accepts. */

const RUNS = 150;

test('a proposal for any answers passes check, pins and rails included', () => {
  fc.assert(
    fc.property(someAnswers, (answers) => {
      const { text, problems, decisions } = propose(answers);
      expect(problems).toEqual([]);
      for (const { why } of decisions) expect(why).not.toBe('');
      const { prop, findings } = parseProp(text, 'new.yaml');
      const shown = findings.map((finding) => formatFinding(finding, 'new.yaml'));
      expect(shown.filter((line) => !/: (warning|note): /.test(line))).toEqual([]);
      expect(prop!.name).toBe(answers.name);
      expectPins(prop!);
      expectRails(prop!, answers.supplies);
      // What is left are warnings that no choice of ours can spare the maker.
      expect(shown.filter((line) => !EXPECTED.some((one) => one.test(line)))).toEqual([]);
    }),
    { numRuns: RUNS },
  );
});

test('the wiring proposed for it leaves nothing to find, and a second time nothing is proposed', () => {
  fc.assert(
    fc.property(someAnswers, (answers) => {
      const { text, lengthsM } = propose(answers);
      const loaded = parseProp(text, 'new.yaml');
      const { edits, added, left } = proposeWiring(loaded.prop!, loaded.raw, {
        lengthM: 0.5,
        lengthsM,
      });
      expect(left).toEqual([]);
      expect(added.length).toBeGreaterThan(0);
      const wired = editProp(loaded, edits);
      const shown = wired.findings.map((finding) => formatFinding(finding, 'new.yaml'));
      expect(shown.filter((line) => !EXPECTED.some((one) => one.test(line)))).toEqual([]);
      // Nothing that was there is changed: every line of the old file is in the new one, in its order.
      let at = 0;
      const lines = wired.text.split('\n');
      for (const line of text.split('\n')) {
        at = lines.indexOf(line, at) + 1;
        expect(at).toBeGreaterThan(0);
      }
      expectWires(wired.prop!);
      const again = proposeWiring(wired.prop!, wired.raw, { lengthM: 0.5, lengthsM });
      expect({ edits: again.edits, left: again.left }).toEqual({ edits: [], left: [] });
    }),
    { numRuns: RUNS / 3 },
  );
});

/** One wire to a cavity, every wire thick enough for its fuse, and what arrives is 95 % or more. */
function expectWires(prop: Prop): void {
  const held = new Set<string>();
  for (const { cores } of new Loom(prop).wires)
    for (const { from, to } of cores)
      for (const end of [from, to]) {
        expect(held).not.toContain(end);
        held.add(end);
      }
  const { channels, wires, rails } = budgetOf(prop);
  for (const { dropShare } of channels) expect(dropShare).toBeLessThanOrEqual(0.05);
  for (const { amps, capacityA } of wires)
    if (capacityA !== undefined) expect(amps).toBeLessThanOrEqual(capacityA);
  for (const { fuse } of rails) expect(fuse!.verdict).toBe('fits');
}

/** Only where a maker asks for more than the header has pins, or current, for. */
const EXPECTED = [/the pins of main carry .* together/];

/** Each pin has one use, and none is one that the header keeps. */
function expectPins(prop: Prop): void {
  const taken = new Set<string>();
  const use = (board: string, pin: number) => {
    const place = `${board} ${pin}`;
    expect(taken).not.toContain(place);
    taken.add(place);
    const facts = factsOf(prop.boards[board]!);
    expect(pin).toBeLessThan(facts.pins);
    // GPIO 0 and 1: ID EEPROM, 2 and 3: I2C, 14 and 15: serial console (pin-out of the header, from memory).
    if (facts.header) {
      expect([0, 1, 2, 3, 14, 15]).not.toContain(pin);
      expect(reservedFor(pin)).toBeUndefined();
    }
  };
  for (const { output } of Object.values(prop.channels))
    for (const pin of 'pins' in output ? output.pins : 'pin' in output ? [output.pin] : [])
      use(output.board, pin);
  if (prop.stopInput) use(prop.stopInput.board, prop.stopInput.pin);
  for (const board of Object.values(prop.boards)) {
    const enable = factsOf(board).enable?.(board);
    if (enable) use(enable.board, enable.pin);
  }
  for (const name of Object.keys(prop.boards))
    for (const { use: by, reserved } of boardPins(prop, name).pins)
      if (by !== undefined) expect(reserved).toBeUndefined();
}

/** Everything on at once fits each rail, its fuse, and all rails of a supply the supply. */
function expectRails(prop: Prop, given: readonly { volts: number; amps: number }[]): void {
  const bySupply = new Map<string, number>();
  for (const { name, limitA, movingA, momentA, fuse } of budgetOf(prop).rails) {
    expect(movingA).toBeLessThanOrEqual(limitA + 1e-9);
    expect(momentA).toBeLessThanOrEqual(limitA + 1e-9);
    expect(fuse!.ratingA!).toBeGreaterThanOrEqual(Math.max(movingA, momentA) - 1e-9);
    const { supply } = prop.rails[name]!;
    bySupply.set(supply!.plus, (bySupply.get(supply!.plus) ?? 0) + limitA);
  }
  for (const [plus, amps] of bySupply) {
    const own = given[Number(/^PS(\d+)-1$/.exec(plus)![1]) - 1];
    if (own) expect(amps).toBeLessThanOrEqual(own.amps + 1e-6);
  }
}

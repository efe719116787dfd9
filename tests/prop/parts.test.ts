import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { editProp, parseProp } from '../../src/prop/load.ts';
import { PART_NAMES, PARTS, withParts } from '../../src/prop/parts.ts';
import type { LampChannel, RelayChannel, RgbChannel, ServoChannel } from '../../src/prop/schema.ts';
import { expectFindings, propText, servo } from './helpers.ts';

/** What a part may give: nothing that says how far, or where, a thing may go. */
const ALLOWED: Record<string, string[]> = {
  servo: ['draw', 'speedDegS', 'accelDegS2', 'jerkDegS3', 'stallNm', 'rated'],
  relay: [
    'draw',
    'duty',
    'contact',
    'pulseMs',
    'minOnS',
    'minOffS',
    'coil',
    'through',
    'maintainEvery',
  ],
  // What lies between pin and light is for the maker to say: a part that said it would silence the check.
  lamp: ['draw', 'led'],
  rgb: ['draw', 'led'],
};
const OWN: Record<string, string> = {
  servo:
    'output: { board: head, pin: 18 }, calibration: [[1000, -45], [2000, 45]], park: { to: 0 }',
  relay: 'output: { board: head, pin: 17 }',
  lamp: 'output: { board: head, pin: 18 }',
  rgb: 'output: { board: head, pins: [18, 23, 24] }',
};

/** The parts for channels; the others are for boards. */
const FOR_CHANNELS = PART_NAMES.filter((name) => PARTS[name]!.kind in ALLOWED);

/** More than a pin may carry. */
const STRONG = new Set(['lamp-12v', 'led-strip-12v', 'led-strip-12v-rgb']);

function channelOf(part: string, own = '') {
  const { kind } = PARTS[part]!;
  const text = propText(`x: { kind: ${kind}, part: ${part}, ${OWN[kind]}${own} }`);
  return parseProp(text, 'f.yaml');
}

describe('the library', () => {
  test('has the classes that makers use, each in a file of config/parts', () => {
    for (const name of ['servo-9g', 'servo-25kgcm', 'relay-board-5v', 'led-5mm', 'piezo-disc-24v'])
      expect(PART_NAMES).toContain(name);
    const folder = new URL('../../config/parts/', import.meta.url);
    const inFiles = readdirSync(folder).flatMap((file) =>
      Object.keys(JSON.parse(readFileSync(new URL(file, folder), 'utf8'))),
    );
    expect([...PART_NAMES].sort()).toEqual(inFiles.sort());
  });

  test.each(FOR_CHANNELS)(
    '%s fits its kind, says its source, and gives what is allowed',
    (name) => {
      const { kind, about, source, typical } = PARTS[name]!;
      expect(source).toMatch(/typical of published data sheets of this class.*from memory/);
      expect(about.length).toBeGreaterThan(10);
      expect(Object.keys(typical).filter((key) => !ALLOWED[kind]!.includes(key))).toEqual([]);
      const { prop, findings } = channelOf(name, STRONG.has(name) ? ', through: driver board' : '');
      expect(findings.filter(({ severity }) => severity === 'error')).toEqual([]);
      const channel = prop!.channels.x as unknown as Record<string, unknown>;
      for (const [key, value] of Object.entries(typical))
        expect(channel[key]).toMatchObject(value as object | string | number as object);
    },
  );

  test('a name with kgcm has that stall torque: 1 kgf cm is 0.0980665 N m (standard gravity, CGPM 1901)', () => {
    let count = 0;
    for (const [name, { typical }] of Object.entries(PARTS)) {
      const [, kgcm] = /-(\d+)kgcm$/.exec(name) ?? [];
      if (kgcm === undefined) continue;
      count++;
      const ratio = (typical.stallNm as number) / (Number(kgcm) * 0.0980665);
      expect(ratio).toBeGreaterThan(0.85);
      expect(ratio).toBeLessThanOrEqual(1.05);
    }
    expect(count).toBeGreaterThanOrEqual(3);
  });

  test('forward voltages are those of the colour: no less than its photons need, h c / (e lambda) (SI constants)', () => {
    // Peak wavelengths (nm) of usual LEDs, from memory.
    const wavelengths = [630, 525, 470];
    const [red, green, blue] = wavelengths.map((nm) => 1239.84 / nm) as [number, number, number];
    const { forwardV } = (channelOf('led-5mm').prop!.channels.x as RgbChannel).led!;
    for (const [i, least] of [red, green, blue].entries()) {
      expect(forwardV[i]).toBeGreaterThan(least * 0.95);
      expect(forwardV[i]).toBeLessThan(least + 1.2);
    }
    for (const [i, colour] of ['red', 'green', 'blue'].entries()) {
      const lamp = channelOf(`led-5mm-${colour}`).prop!.channels.x as LampChannel;
      expect(lamp.led!.forwardV).toBe(forwardV[i]);
      expect(lamp.draw!.fullA).toBe(lamp.led!.currentA);
    }
  });

  test.each([...STRONG])(
    '%s on a bare pin is an error: no part says that a transistor is there',
    (name) => {
      const { findings } = channelOf(name);
      expect(findings.filter(({ severity }) => severity === 'error')).not.toEqual([]);
    },
  );

  test('a bulb takes what its watts say: 10 W at 12 V', () => {
    const { draw } = channelOf('lamp-12v', ', through: n-mosfet').prop!.channels.x as LampChannel;
    expect(draw!.fullA * 12).toBeCloseTo(10, 1);
  });
});

describe('a board with a part', () => {
  const FOR_BOARDS = PART_NAMES.filter((name) => !FOR_CHANNELS.includes(name));
  const withMeter = (entry: string) =>
    propText(`a: ${servo(18)}`, '', `head: { driver: sim }\n  meter: ${entry}`);

  test.each(FOR_BOARDS)('%s is a whole meter, whose shunt bears what it measures', (name) => {
    const { kind, source, typical } = PARTS[name]!;
    expect(source).toMatch(/from memory/);
    expect(Object.keys(typical)).toEqual(['shuntOhm', 'maxA', 'shuntW']);
    // Check itself says what the chip cannot measure and the shunt cannot bear.
    const entry = `{ driver: ${kind}, part: ${name}, bus: 1, address: 0x45 }`;
    expectFindings(withMeter(entry), []);
    const { prop } = parseProp(withMeter(entry), 'f.yaml');
    expect(prop!.boards.meter).toMatchObject(typical);
    // R100 is 0.1 ohm, R010 0.01 (IEC 60062, from memory).
    const [, printed] = /-r(\d+)$/.exec(name)!;
    expect(typical.shuntOhm).toBe(Number(`0.${printed}`));
  });

  test('its own values go before those of the part', () => {
    const entry = '{ driver: ina226, part: ina226-r010, bus: 1, address: 0x45, maxA: 5 }';
    expect(parseProp(withMeter(entry), 'f.yaml').prop!.boards.meter).toMatchObject({
      shuntOhm: 0.01,
      maxA: 5,
    });
  });

  test('one for another driver', () => {
    expectFindings(
      withMeter(
        '{ driver: ina219, part: »ina226-r010, bus: 1, address: 0x45, shuntOhm: 0.1, maxA: 3 }',
      ),
      [{ path: 'boards.meter.part', wrong: 'is a part for', right: 'use one of ina219-r100' }],
    );
  });
});

describe('a channel with a part', () => {
  test('has typical values, and its own before them', () => {
    const typical = channelOf('servo-9g').prop!.channels.x as ServoChannel;
    expect(typical).toMatchObject({ draw: { stallA: 0.7 }, speedDegS: 120, part: 'servo-9g' });
    const { prop } = channelOf('servo-9g', ', speedDegS: 40, draw: { movingA: 0.3 }');
    const own = prop!.channels.x as ServoChannel;
    expect(own).toMatchObject({ speedDegS: 40, draw: { idleA: 0.01, movingA: 0.3, stallA: 0.7 } });
    const relay = channelOf('piezo-disc-24v', ', duty: { maxOnS: 5, restS: 5 }').prop!.channels.x;
    expect((relay as RelayChannel).duty).toEqual({ maxOnS: 5, restS: 5 });
  });

  test('the file stays as it is written, and an edit goes on top', () => {
    const loaded = channelOf('servo-9g');
    expect((loaded.raw as { channels: { x: object } }).channels.x).not.toHaveProperty('draw');
    const edited = editProp(loaded, [{ path: ['channels', 'x', 'park', 'to'], value: 5 }]);
    expect(edited.text).not.toContain('draw');
    expect(edited.prop!.channels.x).toMatchObject({ draw: { stallA: 0.7 }, park: { to: 5 } });
    const other = editProp(loaded, [{ path: ['channels', 'x', 'part'], value: 'servo-35kgcm' }]);
    expect(other.prop!.channels.x).toMatchObject({ draw: { stallA: 4.5 } });
  });

  test('the library is never changed by a prop', () => {
    const before = JSON.stringify(PARTS);
    const { prop } = channelOf('servo-9g');
    (prop!.channels.x as ServoChannel).draw!.stallA = 99;
    expect(JSON.stringify(PARTS)).toBe(before);
    expect((channelOf('servo-9g').prop!.channels.x as ServoChannel).draw!.stallA).toBe(0.7);
  });

  test('one that is unknown, or for another kind', () => {
    expectFindings(propText(`a: ${servo(18, { part: '»servo-9gg' })}`), [
      { path: 'channels.a.part', wrong: 'is not a part', right: 'did you mean servo-9g' },
    ]);
    expectFindings(propText(`a: ${servo(18, { part: '»fridge' })}`), [
      { wrong: 'is not a part', right: 'use one of servo-9g, ' },
    ]);
    expectFindings(propText(`a: ${servo(18, { part: '»lamp-12v' })}`), [
      { wrong: 'lamp-12v is a part for a lamp, and a is a servo', right: 'servo-9g' },
    ]);
    expectFindings(propText(`a: ${servo(18, { part: '»7' })}`), [{ wrong: '7 is not a part' }]);
    expectFindings(propText(`a: ${servo(18, { part: '»toString' })}`), [{ wrong: 'not a part' }]);
  });

  test('a finding about a value of a part names the part, at its name', () => {
    const rails = 'rails: { r6: { volts: 6, limitA: 0.5 } }';
    expectFindings(propText(`a: ${servo(18, { part: '»servo-25kgcm', rail: 'r6' })}`, rails), [
      { path: 'channels.a.draw', wrong: /0.5 A \(typical of part servo-25kgcm\)/ },
    ]);
    expectFindings(
      propText(
        `a: ${servo(18, { part: 'servo-25kgcm', rail: 'r6', draw: '»{ movingA: 0.6 }' })}`,
        rails,
      ),
      [{ path: 'channels.a.draw', wrong: /\(idleA, stallA: typical of part servo-25kgcm\)/ }],
    );
    expectFindings(
      propText(
        `a: ${servo(18, { part: 'servo-25kgcm', rail: 'r6', draw: '»{ idleA: 0.1, movingA: 0.6, stallA: 1 }' })}`,
        rails,
      ),
      [{ wrong: /0.5 A$/ }],
    );
  });

  test('whatever the data, filling in throws nothing and changes nothing', () => {
    for (const raw of [
      null,
      1,
      [],
      { channels: null },
      { channels: [1] },
      { channels: { a: null } },
    ])
      expect(withParts(raw)).toBe(raw);
    const odd = { channels: { a: { part: 'servo-9g', kind: 'servo', draw: 7 } } };
    const before = structuredClone(odd);
    expect(withParts(odd)).toMatchObject({ channels: { a: { draw: 7, speedDegS: 120 } } });
    expect(odd).toEqual(before);
  });
});

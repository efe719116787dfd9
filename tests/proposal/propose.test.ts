import { describe, expect, test } from 'vitest';
import { setUpOf } from '../../src/boards/registry.ts';
import { budgetOf } from '../../src/prop/budget.ts';
import { formatFinding, parseProp } from '../../src/prop/load.ts';
import { PARTS } from '../../src/prop/parts.ts';
import type { ServoChannel } from '../../src/prop/schema.ts';
import {
  type Answers,
  COMPUTERS,
  type GivenAnswers,
  readAnswers,
} from '../../src/proposal/answers.ts';
import { interview } from '../../src/proposal/interview.ts';
import { propose, TooMuch } from '../../src/proposal/propose.ts';
import { shoppingList } from '../../src/proposal/shopping.ts';
import { rehearseAll } from '../../src/rehearsal/rehearse-all.ts';
import { OWL } from '../prop/helpers.ts';
import { CRAB_ANSWERS } from './crab.ts';

function answersOf(raw: unknown): Answers {
  const read = readAnswers(raw);
  if ('wrong' in read) throw new Error(read.wrong.join('\n'));
  return read.answers;
}

const CRAB = answersOf(interview(new Map(CRAB_ANSWERS)).answers);

function fileOf(given: GivenAnswers) {
  const proposal = propose(answersOf(given));
  const { prop, findings } = parseProp(proposal.text, 'p.yaml');
  const shown = findings.map((finding) => formatFinding(finding, 'p.yaml'));
  return { ...proposal, prop: prop!, shown };
}

const servos = (count: number, more: object = {}): GivenAnswers => ({
  moves: [{ name: 'flap', count }],
  ...more,
});

describe('the crab', () => {
  const { text, decisions, cautions } = propose(CRAB);
  const { prop, findings } = parseProp(text, 'crab.yaml');

  test('passes check, and nothing is refused or late in its rehearsal', async () => {
    expect(findings).toEqual([]);
    expect(Object.keys(prop!.channels)).toEqual([
      ...['claw_left', 'claw_right', 'arm_left', 'arm_right', 'stalk_left', 'stalk_right'],
      ...['eye_left', 'eye_right', 'mist'],
    ]);
    // The same first line as in the demo: an editor completes and checks the new file as well.
    expect(text.split('\n')[0]).toBe(OWL.split('\n')[0]);
    const { parts, skipped } = await rehearseAll(prop!, () => true);
    expect(skipped).toEqual([]);
    expect(parts.map(({ of }) => of)).toContain('park');
    // Motors that start one after the other are what a small supply is for.
    const events = parts.flatMap((part) => part.events);
    expect(events.filter(({ what }) => what !== 'staggered')).toEqual([]);
  });

  test('feeds servos, vapour and the rest each from a supply of their own', () => {
    const volts = (channel: string) => prop!.rails[prop!.channels[channel]!.rail!]!.volts;
    expect(volts('claw_left')).toBe(6);
    expect(volts('eye_left')).toBe(5);
    expect(prop!.channels.mist).toMatchObject({
      rail: 'logic5v',
      contact: { rail: 'mist24v', common: 'K1-COM', open: 'K1-NO' },
      duty: PARTS['piezo-disc-24v']!.typical.duty,
      vapour: { tankMl: 200 },
      park: { to: 'off' },
    });
    expect(prop!.rails.mist24v!.supply!.plus).not.toBe(prop!.rails.servo6v!.supply!.plus);
    expect(cautions.join(' ')).not.toContain('to buy');
  });

  test('moves what is alike together, and parks relays before servos', () => {
    expect(prop!.groups).toMatchObject({ claws: ['claw_left', 'claw_right'] });
    expect(prop!.park.stages[0]).toEqual(['mist']);
    const claw = prop!.channels.claw_left as ServoChannel;
    expect(claw).toMatchObject({
      limitsDeg: [0, 40],
      park: { to: 'rest', then: 'release' },
      speedDegS: PARTS['servo-10kgcm']!.typical.speedDegS,
    });
    expect(prop!.channels.arm_left).toMatchObject({ park: { to: 'middle', then: 'hold' } });
  });

  test('says the cautions where they belong, and a reason for each value', () => {
    for (const word of ['Pinch', 'Mains', 'Water', 'Flashing', 'ISO 13850', 'measured'])
      expect(text.replaceAll('\n# ', ' ')).toContain(word);
    expect(text).not.toContain('Batteries');
    for (const { why } of decisions) expect(why.length).toBeGreaterThan(8);
    expect(new Set(decisions.map(({ id }) => id)).size).toBe(decisions.length);
    expect(text.trimEnd()).toMatch(/\n\.\.\.$/);
    expect(text.split('\n').filter((line) => line.length > 120)).toEqual([]);
  });
});

describe('a loudspeaker', () => {
  const voice = (changes: Record<string, string> = {}, more: GivenAnswers = {}) =>
    fileOf(servos(1, { sounds: [{ name: 'voice' }], changes, ...more }));

  test('gets a sound card, a low ceiling, a fade, and the caution about loud sound', () => {
    const { prop, shown, text, cautions, decisions, lengthsM, problems } = voice({}, {
      relays: [{ name: 'mist', load: 'vapour' }],
    } as GivenAnswers);
    expect(shown).toEqual([]);
    expect(problems).toEqual([]);
    expect(prop.boards.speaker).toEqual({ driver: 'alsa', device: 'default' });
    expect(prop.channels.voice).toEqual({
      ...{ kind: 'sound', output: { board: 'speaker' } },
      ...{ ceiling: 0.1, fadeOutS: 0.5, park: { to: 0 } },
    });
    expect(prop.park.stages).toEqual([['mist', 'voice'], ['flap']]);
    expect(cautions.join(' ')).toContain('Loud sound damages hearing');
    // At the ceiling itself as well, where somebody may raise it.
    expect(text).toMatch(/loud sound damages hearing\n {4}ceiling: 0.1\n/);
    const own = decisions.filter(({ id }) => id.startsWith('voice.'));
    expect(own.map(({ id, value }) => [id, value])).toEqual([
      ['voice.name', 'voice'],
      ['voice.card', 'speaker'],
      ['voice.ceiling', '0.1'],
      ['voice.fadeOutS', '0.5 s'],
    ]);
    for (const { why } of own) expect(why.length).toBeGreaterThan(8);
    expect(Object.keys(lengthsM)).toEqual(['flap', 'mist']);
  });

  test('without one there is neither card nor caution', () => {
    const { text, cautions } = fileOf(servos(1));
    expect(text).not.toMatch(/alsa|ceiling|speaker/);
    expect(cautions.join(' ')).not.toMatch(/[Ss]ound/);
  });

  test('may be all that there is', () => {
    const { prop, shown } = fileOf({ sounds: [{ name: 'voice', place: 'head' }] });
    expect(shown).toEqual([]);
    expect(prop.park.stages).toEqual([['voice']]);
    expect(prop.channels.voice).toMatchObject({ place: 'head' });
  });

  test('is changed like the rest, and what cannot be is named', () => {
    const changed = voice({
      ...{ 'voice.name': 'hoot', 'voice.ceiling': '0.25', 'voice.fadeOutS': '2' },
    });
    expect(changed.problems).toEqual([]);
    expect(changed.shown).toEqual([]);
    expect(changed.prop.channels.hoot).toMatchObject({ ceiling: 0.25, fadeOutS: 2 });
    const wrong = voice({
      ...{ 'voice.ceiling': '3', 'voice.fadeOutS': '60', 'voice.card': 'tin', 'voice.pin': '4' },
    });
    expect(wrong.problems).toEqual([
      { id: 'voice.card', wrong: 'tin is not one of speaker' },
      { id: 'voice.ceiling', wrong: '3 is not a number within 0.01 to 1 of full scale' },
      { id: 'voice.fadeOutS', wrong: '60 is not a number within 0 to 5 s' },
      { id: 'voice.pin', wrong: 'there is no such thing to change' },
    ]);
    expect(wrong.prop.channels.voice).toMatchObject({ ceiling: 0.1, fadeOutS: 0.5 });
  });

  test('a second one is refused: a prop has one sound card', () => {
    const two = { sounds: [{ name: 'voice' }, { name: 'horn' }] };
    expect(readAnswers(two)).toEqual({
      wrong: ['sounds are 2 together; give 1 or fewer, or write the file by hand'],
    });
    expect(readAnswers({ sounds: [{ name: 'voice', count: 2 }] })).toHaveProperty('wrong');
  });

  test('is on the shopping list with its card', () => {
    const { prop } = voice();
    const items = shoppingList(prop).map(({ item, size }) => `${item}: ${size}`);
    expect(items).toContain('board: a sound card, for channels of kind sound');
    expect(items).toContain('loudspeaker: as in the file');
  });
});

describe('boards and pins', () => {
  test('one servo too many for the header moves all of them to boards of 16 outputs', () => {
    // 28 GPIO, less two for the EEPROM, two of I2C, two of the console (pin-out of the header, from memory).
    const few = fileOf(servos(22, { stopButton: false }));
    expect(Object.keys(few.prop.boards)).toEqual(['main']);
    expect(few.shown).toEqual([]);
    const many = fileOf(servos(23, { stopButton: false }));
    expect(Object.keys(many.prop.boards)).toEqual(['main', 'servos', 'servos_2']);
    expect(many.shown).toEqual([]);
    expect(many.prop.boards.servos).toMatchObject({ address: 0x40, enable: { board: 'main' } });
    expect(many.prop.boards.servos_2).toMatchObject({ address: 0x41 });
  });

  test('a computer whose header makes pulses on few pins gets boards after two', () => {
    const computer = COMPUTERS.find((driver) => setUpOf(driver).surePins)!;
    const two = fileOf(servos(2, { computer }));
    expect(Object.keys(two.prop.boards)).toEqual(['main']);
    // GPIO 12 and 13 are on two channels of every chip; 18 and 19 share them on the older ones (from memory).
    expect(
      Object.values(two.prop.channels).map(({ output }) => 'pin' in output && output.pin),
    ).toEqual([12, 13]);
    const three = fileOf(servos(3, { computer, lights: [{ name: 'eye', kind: 'rgb' }] }));
    expect(Object.keys(three.prop.boards)).toEqual(['main', 'servos', 'lights']);
    expect(three.prop.boards.lights).toMatchObject({ frequencyHz: 1000 });
    expect(three.prop.channels.eye).toMatchObject({ output: { pull: 'down' } });
    expect(three.shown).toEqual([]);
  });

  test('relays rest open from power-on: by the pull of the pin, or by a resistor', () => {
    const { prop, shown } = fileOf({ relays: [{ name: 'fan', count: 7, load: 'fan' }] });
    expect(shown).toEqual([]);
    const outputs = Object.values(prop.channels).map(({ output }) => output as { pin: number });
    // GPIO 0 to 8 are pulled up (BCM2835 ARM Peripherals, table 6-31).
    expect(outputs.slice(0, 5).map(({ pin }) => pin)).toEqual([4, 5, 6, 7, 8]);
    for (const output of outputs.slice(5)) expect(output).toMatchObject({ pull: 'up' });
    const high = fileOf({ relays: [{ name: 'fan', load: 'fan', closesOn: 'high' }] });
    expect(high.prop.channels.fan).toMatchObject({ output: { activeLow: false } });
    expect((high.prop.channels.fan!.output as { pin: number }).pin).toBeGreaterThan(8);
  });

  test('a light hangs on its pin only where that bears it', () => {
    const light = (part: string, wired: 'pin' | 'n-mosfet' = 'pin') =>
      fileOf({ lights: [{ name: 'eye', kind: 'lamp', part, wired }] });
    const red = light('led-5mm-red');
    expect(red.prop.channels.eye).toMatchObject({ through: 'nothing' });
    expect(red.shown).toEqual([]);
    // Blue light needs about 3.2 V and the pin has 3.3 V; a strip takes far more than 16 mA.
    for (const part of ['led-5mm-blue', 'led-strip-12v']) {
      const { prop, decisions, shown } = light(part);
      expect(prop.channels.eye).toMatchObject({ through: 'n-mosfet' });
      expect(decisions.find(({ id }) => id === 'eye.through')!.why).toMatch(/as you said/);
      expect(shown).toEqual([]);
    }
  });

  test('more than the boards can drive is refused, not squeezed in', () => {
    const lights = [{ name: 'eye', count: 24, kind: 'rgb' as const }];
    expect(() =>
      propose(answersOf({ moves: [{ name: 'a', count: 64 }], lights, relays: [] })),
    ).toThrow(TooMuch);
  });
});

describe('supplies', () => {
  test('what yours cannot feed goes on one to buy, large enough', () => {
    const { prop, supplies, cautions, shown } = fileOf(
      servos(6, {
        moves: [{ name: 'arm', count: 6, part: 'servo-25kgcm' }],
        supplies: [{ volts: 6, amps: 4 }],
      }),
    );
    expect(shown).toEqual([]);
    const [own, more] = supplies;
    expect(own!.branches[0]!.needA).toBeLessThanOrEqual(4);
    expect(more).toMatchObject({ id: 'PS2', volts: 6, toBuy: true });
    expect(cautions.join(' ')).toMatch(/PS2 is a supply to buy: 6 V/);
    for (const rail of budgetOf(prop).rails) expect(rail.wantedA).toBeLessThanOrEqual(15);
  });

  test('a large supply becomes branches, each with a fuse that protects 20 AWG', () => {
    const { prop } = fileOf(servos(40, { supplies: [{ volts: 6, amps: 30 }] }));
    const rails = Object.values(prop.rails).filter(({ supply }) => supply!.plus === 'PS1-1');
    expect(rails.length).toBeGreaterThan(1);
    for (const { fuse } of rails) expect(fuse!.ratingA).toBeLessThanOrEqual(7.5);
    expect(rails.reduce((sum, { limitA }) => sum + limitA, 0)).toBeLessThanOrEqual(30);
  });

  test('one that suits nothing is said to be idle; a battery has its caution and its fuse', () => {
    const { text, prop, cautions } = fileOf(
      servos(1, {
        supplies: [
          { volts: 48, amps: 2 },
          { volts: 6, amps: 5, source: 'battery', capacityAh: 4 },
        ],
      }),
    );
    expect(cautions.join(' ')).toMatch(/PS1 \(48 V, 2 A\) is not used/);
    expect(text).toMatch(/Fit the fuse of PS2 at the terminal of the pack/);
    expect(cautions.join(' ')).toMatch(/never charge lithium cells unattended/);
    expect(prop.rails.servo6v!.battery).toMatchObject({ capacityAh: 4 });
  });
});

describe('changes', () => {
  const changed = (changes: Record<string, string>) => {
    const proposal = propose({ ...CRAB, changes });
    return { ...proposal, ...parseProp(proposal.text, 'p.yaml') };
  };

  test('a name is changed everywhere', () => {
    const { prop, findings, problems } = changed({ 'claw_left.name': 'pincer' });
    expect(problems).toEqual([]);
    expect(findings).toEqual([]);
    expect(prop!.channels).toHaveProperty('pincer');
    expect(prop!.groups.claws).toEqual(['pincer', 'claw_right']);
    expect(prop!.park.stages[1]).toContain('pincer');
  });

  test('pins, boards, speeds, rests, rails, fuses, duties and groups take what the maker says', () => {
    const { prop, findings, problems } = changed({
      'claw_left.pin': 'GPIO 26',
      'eye_left.pin': '20 21 16',
      'claw_left.speedDegS': '40',
      'claw_left.rests': 'middle',
      'arm_left.then': 'release',
      'arm_left.travelDeg': '90',
      'servo6v.name': 'muscle',
      'servo6v.limitA': '6',
      'mist24v.fuseA': '2 A',
      'mist.duty': '10/20',
      'claws.group': 'claw_left claw_right arm_left',
      'stop.pin': '27',
    });
    expect(problems).toEqual([]);
    expect(findings).toEqual([]);
    expect(prop!.channels.claw_left).toMatchObject({
      output: { pin: 26 },
      speedDegS: 40,
      limitsDeg: [-20, 20],
      rail: 'muscle',
    });
    expect(prop!.channels.eye_left).toMatchObject({ output: { pins: [20, 21, 16] } });
    expect(prop!.channels.arm_left).toMatchObject({
      park: { then: 'release' },
      limitsDeg: [-45, 45],
    });
    expect(prop!.rails.muscle!.limitA).toBe(6);
    expect(prop!.rails.mist24v!.fuse!.ratingA).toBe(2);
    expect(prop!.channels.mist).toMatchObject({ duty: { maxOnS: 10, restS: 20 } });
    expect(prop!.groups.claws).toHaveLength(3);
    expect(prop!.stopInput!.pin).toBe(27);
    const boards = changed({ 'boards.servos': 'chips' });
    expect(boards.problems).toEqual([]);
    expect(boards.findings).toEqual([]);
    expect(boards.prop!.channels.claw_left!.output.board).toBe('servos');
  });

  test.each([
    ['claw_left.pin', '0', /GPIO 0 is kept for the ID EEPROM/],
    ['claw_left.pin', '99', /there is no GPIO 99/],
    ['claw_left.pin', 'chest 4', /there is no board chest/],
    ['eye_left.pin', '20', /is not 3 pins/],
    ['claw_left.name', 'mist', /mist is taken/],
    ['claw_left.name', '4', /is not a name/],
    ['claw_left.speedDegS', '9000', /not a number within 10 to 400/],
    ['claw_left.rests', 'upside', /not one of end, middle/],
    ['claw_left.supply', 'PS2', /PS2 has 24 V, and claw_left takes 4.8 to 6 V/],
    ['servo6v.limitA', '50', /not a number within/],
    ['servo6v.fuseA', '1', /a fuse of 1 A does not carry what flows/],
    ['servo6v.fuseA', '40', /does not protect the wires/],
    ['mist.duty', 'often', /is not a duty/],
    ['claws.group', 'mist', /mist is not a servo here/],
    ['stop.pin', '1', /ID EEPROM/],
    ['claw.flavour', 'salt', /there is no such thing to change/],
  ])('%s: %s is refused with a reason, and the file stays sound', (id, value, wrong) => {
    const { problems, findings, prop } = changed({ [id]: value });
    expect(problems).toEqual([{ id, wrong: expect.stringMatching(wrong) }]);
    expect(prop).toBeDefined();
    expect(findings).toEqual([]);
  });
});

test('a load of more than 1 A gets a duty limit, unless the maker wants none', () => {
  const lamp = { name: 'lamp', load: 'light' as const, volts: 5, amps: 1 };
  const { prop, shown } = fileOf({ relays: [lamp] });
  expect(prop.channels.lamp).toMatchObject({
    duty: { maxOnS: 60, restS: 60 },
    draw: { onA: 1.07 },
  });
  expect(shown).toEqual([]);
  const none = fileOf({ relays: [lamp], changes: { 'lamp.duty': 'none' } });
  expect(none.prop.channels.lamp).not.toHaveProperty('duty');
  expect(none.shown).toEqual([expect.stringMatching(/nothing opens it; add duty/)]);
});

test('a rail that gives just what flows is enough, however its sum is rounded', () => {
  // 0.4 + 0.4 + 0.4 is 1.2000000000000002 in binary fractions (IEEE 754).
  const strip = `kind: rgb, part: led-strip-12v-rgb, through: n-mosfet, rail: r`;
  const text = `sinew: 1\nname: T\nboards: { b: { driver: ${COMPUTERS[0]} } }\nrails: { r: { volts: 12, limitA: 1.2 } }\nchannels:\n  x: { ${strip}, output: { board: b, pins: [16, 17, 18], common: anode } }\n`;
  expect(parseProp(text, 'p.yaml').findings).toEqual([]);
  expect(parseProp(text.replace('1.2 }', '1.19 }'), 'p.yaml').findings).toHaveLength(1);
});

test('a pin that check warns of is the choice of the maker, and is said', () => {
  const { problems, decisions, text } = propose({ ...CRAB, changes: { 'claw_left.pin': '14' } });
  expect(problems).toEqual([]);
  expect(decisions.find(({ id }) => id === 'claw_left.pin')!.why).toMatch(/serial console/);
  const { findings } = parseProp(text, 'p.yaml');
  expect(findings).toMatchObject([
    { severity: 'warning', wrong: expect.stringMatching(/serial console/) },
  ]);
});

test('wrong answers are named by their place, all at once', () => {
  expect(
    readAnswers({
      moves: [{ name: '1st', count: 0, part: 'motor', speed: 3 }],
      relays: [{ name: 'x', load: 'other' }],
    }),
  ).toEqual({
    wrong: [
      expect.stringMatching(/^moves\[0\]\.name is not a name; use a letter/),
      expect.stringMatching(/^moves\[0\]\.count is below 1/),
      expect.stringMatching(/^moves\[0\]\.part is not a part for this; use one of servo-9g/),
      expect.stringMatching(/^moves\[0\]: speed is not known here; remove it/),
      expect.stringMatching(/^relays\[0\]\.volts is missing/),
      expect.stringMatching(/^relays\[0\]\.amps is missing/),
    ],
  });
  expect(readAnswers({})).toEqual({ wrong: [expect.stringMatching(/name nothing that moves/)] });
  expect(
    readAnswers({
      moves: [
        { name: 'a', count: 40 },
        { name: 'b', count: 40 },
      ],
    }),
  ).toEqual({
    wrong: ['moves are 80 together; give 64 or fewer, or write the file by hand'],
  });
});

test('the voltages of a part are those that its description says', () => {
  for (const [name, { about, supplyV }] of Object.entries(PARTS)) {
    if (!supplyV) continue;
    const said = [...about.matchAll(/(\d+(?:\.\d+)?)(?= V| to [\d.]+ V)/g)].map(([one]) =>
      Number(one),
    );
    expect({ name, said: said.length > 0 }).toEqual({ name, said: true });
    for (const volts of said.slice(0, 2)) {
      expect(volts).toBeGreaterThanOrEqual(supplyV[0]!);
      expect(volts).toBeLessThanOrEqual(supplyV[1]!);
    }
  }
});

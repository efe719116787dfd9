import { expect, test } from 'vitest';
import { linkageInfo, torqueInfo } from '../../src/prop/kinds/info.ts';
import { parseProp } from '../../src/prop/load.ts';
import { mechanicsOf } from '../../src/prop/mechanics.ts';
import { ViewMaker } from '../../src/service/view.ts';
import { OWL } from '../prop/helpers.ts';
import { OWLET } from './owlet.ts';

const prop = (text: string) => parseProp(text, 'owl.yaml').prop!;

test('a view holds what clients ask for, in the order of the file', () => {
  const view = new ViewMaker().view(prop(OWLET), 'v1');
  expect(view).toMatchObject({
    version: 'v1',
    name: 'Foyer owl',
    linkTimeoutMs: 500,
    rails: [{ name: 'servo6v', limitA: 5, volts: 6 }],
    osc: null,
    poses: ['asleep'],
    idle: [],
    triggers: ['button', 'opening'],
    groups: { face: ['beak', 'lid_left'] },
    // To 40 deg in the given time; then a move that starts at 1 s.
    cueDurationsS: { wake: expect.any(Number), drowse: expect.any(Number) },
  });
  expect(view.channels.map(({ name }) => name)).toEqual([
    'beak',
    'lid_left',
    'wing_left',
    'mist',
    'fan',
  ]);
  expect(view.info.beak).toEqual({
    kind: 'servo',
    groups: ['face'],
    rail: 'servo6v',
    wire: 'W07',
    park: { to: 'shut', then: 'release' },
    limitsDeg: [-5, 35],
    envelopeUs: [1000, 2000],
    calibration: [
      [1000, -45],
      [1500, 0],
      [2000, 45],
    ],
    marks: { shut: 0, open: 30 },
    speedDegS: 120,
    accelDegS2: 600,
    output: { board: 'head', pin: 18 },
    measured: { calibration: null },
  });
  expect(view.info.mist).toEqual({
    kind: 'relay',
    groups: [],
    park: { to: false },
    duty: { maxOnS: 20, restS: 40 },
    output: { board: 'head', pin: 7, activeLow: true },
    measured: { contact: null },
  });
  expect(view.boards.head!.pins[18]).toEqual({ pin: 18, use: 'beak' });
});

test('the sums of the mechanics are those of the whole prop, and follow what they rest on', () => {
  const maker = new ViewMaker();
  for (const text of [OWL, OWL.replace('massKg: 0.', 'massKg: 0.0'), OWL]) {
    const { info } = maker.view(prop(text), 'v');
    for (const [name, mechanics] of mechanicsOf(prop(text))) {
      const spec = prop(text).channels[name]!;
      if (spec.kind !== 'servo') continue;
      expect(info[name]!.torque).toEqual(torqueInfo(mechanics, spec.stallNm));
      expect(info[name]!.linkageFigures).toEqual(linkageInfo(mechanics));
    }
  }
  expect(mechanicsOf(prop(OWL)).size).toBeGreaterThan(0);
});

test('a mark that moves costs no new sums', () => {
  const maker = new ViewMaker();
  const before = maker.view(prop(OWL), 'v1');
  const { beak, ...others } = maker.view(
    prop(OWL.replace('open: 30 } # c', 'open: 29 } # c')),
    'v2',
  ).info;
  expect(beak!.marks).toEqual({ shut: 0, open: 29 });
  const { beak: _, ...same } = before.info;
  expect(others).toEqual(same);
});

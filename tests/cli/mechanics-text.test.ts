import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { mechanicsReport, mechanicsText } from '../../src/cli/mechanics-text.ts';
import { parseProp } from '../../src/prop/load.ts';

const propOf = (file: string) =>
  parseProp(readFileSync(new URL(`../../config/${file}`, import.meta.url), 'utf8'), file).prop!;

test('the wings of the owl, worked by hand: m g r with the wing level, and m (2 r)2 / 3 to start it', () => {
  // 0.12 kg at 90 mm: 0.12 x 9.80665 x 0.09 = 0.10591; 0.12 x 0.18^2 / 3 x 800 deg/s2 = 0.0181 N m.
  const report = mechanicsReport(propOf('owl.yaml'));
  expect(report.torque).toHaveLength(2);
  for (const one of report.torque) {
    expect(one.worstNm).toBeCloseTo(0.12401, 4);
    expect(one.accelerationNm).toBeCloseTo(0.0181, 4);
    expect(one.margin).toBeCloseTo(0.35 / 0.12401, 2);
  }
  // 250 ml at 300 ml/h: 50 min, 150 closures of 20 s with 149 rests of 40 s between them.
  expect(report.vapour).toEqual([
    {
      channel: 'mist',
      tankMl: 250,
      rateMlPerH: 300,
      runTimeS: 3000,
      showTimeS: 3000 + 149 * 40,
    },
  ]);
  const text = mechanicsText(report).join('\n\n');
  expect(text).toMatch(/wing_left +0\.124 +1\.3 +80 +0\.018 +0\.35 +3\.6 +2\.8/);
  expect(text).toContain('mist: 250 ml last 50 min of vapour, 149 min with its rests');
});

test('the lid of the chest has a linkage', () => {
  const { linkages, torque, vapour } = mechanicsReport(propOf('lidded-chest.yaml'));
  expect(linkages).toMatchObject([{ channel: 'lid', transmissionAtDeg: 70 }]);
  expect(torque).toMatchObject([{ channel: 'lid', stallNm: 0.9 }]);
  expect(vapour).toEqual([]);
});

test('a file that gives none has no such part', () => {
  expect(mechanicsText(mechanicsReport(propOf('dusk-street.yaml')))).toEqual([]);
});

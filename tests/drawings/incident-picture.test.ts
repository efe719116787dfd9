import { h } from 'preact';
import { render } from 'preact-render-to-string';
import { expect, test } from 'vitest';
import type { Incident } from '../../src/api/types.ts';
import { curvesOf, IncidentPicture } from '../../src/drawings/incident-picture.tsx';

const body: Incident['body'] = {
  t: [-1, -0.5, 0, 1],
  condition: ['live', 'live', 'stopped', 'stopped'],
  linkMs: [null, null, null, null],
  channels: {
    beak: { value: [0, 10, 20, 20], target: 30 },
    neck: { value: 5, target: 5 },
    mist: { value: [0, 0, 1, 1] },
    tail: { value: [1, null, 3, 3], target: [3, 3, 3, null] },
  },
  rails: { servo6v: { amps: [0.1, 0.4, 0.2, 0], measuredA: null } },
  senses: { box: { unit: 'V', value: [6, 5.9, 5.8, 6] } },
};

test('what changed is a curve; what stood still or was not known is left out', () => {
  const curves = curvesOf(body);
  expect(curves.map(({ name, unit }) => [name, unit])).toEqual([
    ['beak', 'deg'],
    ['mist', ''],
    ['tail', 'deg'],
    ['servo6v, estimated', 'A'],
    ['box', 'V'],
  ]);
  // Its scale has room for where it was to go.
  expect(curves[0]).toMatchObject({ low: 0, high: 30, atEvent: 20, target: [30, 30, 30, 30] });
  expect(curves[4]).toMatchObject({ low: 5.8, high: 6, atEvent: 5.8 });
});

test('is drawn over one time, with gaps where nothing is known, and in words', () => {
  const html = render(h(IncidentPicture, { body: body }));
  expect(html).toContain('aria-label="beak, 0 to 30 deg, 20 at the event"');
  // Two of 300 for the whole: half of it is the event, 20 of 30 deg is two thirds of the way up.
  expect(html).toContain('d="M0.0 40.0L75.0 26.7L150.0 13.3L300.0 13.3"');
  expect(html).toContain('d="M0.0 40.0M150.0 0.0L300.0 0.0"');
  expect(html).toContain('−1 to 1 s');
  expect(html).not.toContain('NaN');
});

test('a record of one moment, or of nothing that changed, says so', () => {
  const still = { ...body, t: [0], channels: {}, rails: {}, senses: {}, linkMs: [null] };
  expect(render(h(IncidentPicture, { body: still }))).toContain('Nothing changed');
  const one = { ...still, channels: { beak: { value: [4], target: [4] } } };
  expect(render(h(IncidentPicture, { body: one }))).not.toContain('NaN');
});

import { describe, expect, test } from 'vitest';
import { expectFindings, propText, relay, servo } from './helpers.ts';

// The mark » stands before the place of the finding. Limits without a source are common practice.

const warned = (wrong: string | RegExp, path?: string) => [
  { severity: 'warning' as const, wrong, ...(path !== undefined && { path }) },
];

describe('the time to park', () => {
  // Trapezoid (any textbook): d / v + v / a. From 40 to 0 deg at 20 deg/s, 100 deg/s2: 2.2 s.
  const slow = { speedDegS: '20', accelDegS2: '100', limitsDeg: '[-10, 40]' };
  const two = (more: Record<string, string> = {}) =>
    `a: ${servo(4, { ...slow, ...more })}\n  b: ${servo(5, slow)}`;

  test('a deadline shorter than parking from the worst pose', () => {
    const stages = (deadline: string) => `park: { stages: [[a], [b]], deadlineS: ${deadline} }`;
    expectFindings(propText(two(), stages('»4')), warned('takes 4.4 s, longer than 4 s'));
    expectFindings(propText(two(), stages('4.5')), []);
    // Together they take as long as one.
    expectFindings(propText(two(), 'park: { stages: [[a, b]], deadlineS: 2.5 }'), []);
  });

  test('what waits for another one by an interlock takes its time as well', () => {
    const needs = two({ requires: '[{ channel: b, above: 5 }]' });
    expectFindings(
      propText(needs, 'park: { stages: [[a, b]], deadlineS: »4 }'),
      warned('takes 4.4 s'),
    );
    expectFindings(propText(needs, 'park: { stages: [[b], [a]], deadlineS: 4.5 }'), []);
  });

  test('slow light counts', () => {
    const lamp = 'l: { kind: lamp, output: { board: head, pin: 12 }, fadeS: 20 }';
    expectFindings(propText(lamp, 'park: { deadlineS: »15 }'), warned('slowest: l'));
  });

  test('a stop of category 1 whose deadline is shorter than slowing down', () => {
    // v / a (any textbook).
    const heavy = `a: ${servo(4, { speedDegS: '80', accelDegS2: '40', limitsDeg: '[-40, 40]' })}`;
    const park = 'park: { deadlineS: 20 }';
    // Over its 80 deg it gets no faster than sqrt(40 * 80) = 56.6 deg/s, and that takes 1.41 s to end.
    expectFindings(
      propText(heavy, `${park}\nstop: { deadlineS: »1 }`),
      warned('a takes 1.41 s to slow down, longer than 1 s', 'stop.deadlineS'),
    );
    expectFindings(propText(heavy, `${park}\nstop: { deadlineS: 1.5 }`), []);
    const quick = `a: ${servo(4, { speedDegS: '80', accelDegS2: '90', limitsDeg: '[-40, 40]' })}`;
    expectFindings(propText(quick, park), []);
  });

  test('more than a stop may take', () => {
    expectFindings(propText(`a: ${servo(4)}`, 'stop: { deadlineS: »11, holdS: »3601 }'), [
      { wrong: 'is above 10', right: '10 or less' },
      { wrong: 'is above 3600', right: '3600 or less' },
    ]);
  });

  test('hold and deadline beyond the patience of the service', () => {
    const hold = (s: string) => `link: { onLoss: hold-then-park, holdS: ${s} }`;
    expectFindings(propText(`a: ${servo(4)}`, hold('»50')), warned('may take 60 s', 'link.holdS'));
    expectFindings(propText(`a: ${servo(4)}`, hold('49')), []);
  });
});

describe('relays', () => {
  const rail = 'rails: { x: { volts: 12, limitA: 5 } }';

  test('a draw from no rail', () => {
    expectFindings(
      propText(`r: ${relay(7, { draw: '»{ onA: 0.4 }' })}`),
      warned('draws 0.4 A from no rail'),
    );
    expectFindings(propText(`r: ${relay(7, { rail: 'x', draw: '{ onA: 0.4 }' })}`, rail), []);
  });

  test('a large draw without a duty limit', () => {
    const large = (more: Record<string, string> = {}) => ({ rail: 'x', ...more });
    expectFindings(
      propText(`r: ${relay(7, large({ draw: '»{ onA: 1.5 }' }))}`, rail),
      warned('may keep 1.5 A on for good'),
    );
    const duty = { draw: '{ onA: 1.5 }', duty: '{ maxOnS: 5, restS: 5 }' };
    expectFindings(propText(`r: ${relay(7, large(duty))}`, rail), []);
    expectFindings(propText(`r: ${relay(7, large({ draw: '{ onA: 1 }' }))}`, rail), []);
  });

  test('parking on, but opened by a stop', () => {
    expectFindings(
      propText(`r: ${relay(7, { park: '{ to: »on }' })}`),
      warned('parks on, but a stop opens it', 'channels.r.park.to'),
    );
    // Safe closed, it wants the level that closes it: GPIO 5 is pulled up.
    const safe = (more: Record<string, string>, pin = 5) =>
      `r: { kind: relay, output: { board: head, pin: ${pin} }, ${Object.entries(more)
        .map(([key, value]) => `${key}: ${value}`)
        .join(', ')} }`;
    expectFindings(propText(safe({ safe: 'on', park: '{ to: on }' })), []);
    expectFindings(
      propText(safe({ safe: 'on', park: '{ to: on }' }).replace('pin: 5', 'pin: »20')),
      warned('it may open until the daemon runs'),
    );
    expectFindings(propText(safe({ safe: '»on' })), [{ wrong: 'safe closed, but parks open' }]);
  });
});

test('a link time-out of a minute', () => {
  const link = (ms: string) => `link: { timeoutMs: ${ms} }`;
  expectFindings(propText(`a: ${servo(4)}`, link('»60000')), warned('for 60 s after its link'));
  expectFindings(propText(`a: ${servo(4)}`, link('5000')), []);
});

test.each([
  [{ speedDegS: '60', accelDegS2: '»20000' }, 'within one tick'],
  [{ speedDegS: '60', accelDegS2: '»5' }, 'only after 12 s'],
  [{ speedDegS: '60', accelDegS2: '300', jerkDegS3: '»100000' }, 'within one tick'],
  [{ speedDegS: '60', accelDegS2: '300', jerkDegS3: '»20' }, 'only after 15 s'],
])('rates that make no sense: %j', (rates, wrong) => {
  const late = 'park: { deadlineS: 59 }\nstop: { deadlineS: 10 }';
  // Within so few degrees it stops in time all the same.
  const near = { ...rates, limitsDeg: '[0, 5]' };
  expectFindings(propText(`a: ${servo(4, near)}`, late), warned(wrong));
});

test.each([
  [{ speedDegS: '400', accelDegS2: '8000', jerkDegS3: '160000' }],
  [{ speedDegS: '1', accelDegS2: '1' }],
])('rates that do: %j', (rates) => {
  const text = propText(
    `a: ${servo(4, { ...rates, limitsDeg: '[0, 10]' })}`,
    'park: { deadlineS: 30 }',
  );
  expect(text).toContain('limitsDeg');
  expectFindings(text, []);
});

import { describe, test } from 'vitest';
import { expectFindings, propText, servo } from './helpers.ts';

const text = (draw: string) => propText(`a: ${servo(18, { draw })}`);

describe('the currents of a servo rise', () => {
  test.each([
    '{ idleA: 0.1, movingA: 0.1, stallA: 0.1 }',
    '{ idleA: 0.1 }',
    '{ movingA: 0.5 }',
    '{ stallA: 0.5 }',
    '{ idleA: 0.1, movingA: 0.5 }',
    '{ idleA: 0.1, stallA: 0.5 }',
  ])('%s', (draw) => expectFindings(text(draw), []));

  test.each([
    [
      '{ idleA: 0.5, movingA: »0.2, stallA: 1 }',
      'movingA 0.2 A is below idleA 0.5 A',
      'channels.a.draw.movingA',
    ],
    [
      '{ idleA: 0, movingA: 1, stallA: »0.4 }',
      'stallA 0.4 A is below movingA 1 A',
      'channels.a.draw.stallA',
    ],
    ['{ movingA: 0.3, stallA: »0 }', 'stallA 0 A is below movingA 0.3 A', undefined],
    ['{ idleA: 0.3, stallA: »0.2 }', 'stallA 0.2 A is below idleA 0.3 A', undefined],
  ])('%s', (draw, wrong, path) =>
    expectFindings(text(draw), [
      { severity: 'error', wrong, right: 'give idleA at rest', ...(path && { path }) },
    ]),
  );
});

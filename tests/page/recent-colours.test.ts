import { describe, expect, it } from 'vitest';
import { PRESETS, recentFrom, withRecent } from '../../src/gateway/page/recent-colours.ts';
import { parseColour } from '../../src/sums/light.ts';

it.each(Object.entries(PRESETS))('the file accepts %s, and it is %s', (name, hex) => {
  expect(parseColour(name)).toEqual(parseColour(hex));
  expect(parseColour(name)).toBeDefined();
});

describe('recent colours', () => {
  it('has the newest first, each once, and at most six', () => {
    expect(withRecent(['#111111', '#222222'], '#222222')).toEqual(['#222222', '#111111']);
    const six = ['#1', '#2', '#3', '#4', '#5', '#6'].map((one) => `${one}00000`);
    expect(withRecent(six, '#700000')).toEqual(['#700000', ...six.slice(0, 5)]);
  });

  it('does not repeat the presets', () => {
    expect(withRecent(['#111111'], '#ffa500')).toEqual(['#111111']);
  });

  it.each([null, '{', '7', '{"a":1}', '["red","#12345"]', '[{"toString":1}]'])(
    'survives what was kept: %s',
    (text) => {
      expect(recentFrom(text)).toEqual([]);
    },
  );
});

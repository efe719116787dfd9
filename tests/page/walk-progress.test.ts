import { describe, expect, it } from 'vitest';
import type { ChannelInfo } from '../../src/api/types.ts';
import { guarded } from '../../src/gateway/page/kept.ts';
import { clear, conflicts, fresh, load, save } from '../../src/gateway/page/walk-progress.ts';
import { storage } from './storage.ts';

const forbidden = guarded(() => ({
  getItem: () => {
    throw new Error('SecurityError');
  },
  setItem: () => {
    throw new Error('SecurityError');
  },
  removeItem: () => {
    throw new Error('SecurityError');
  },
}));

describe('the progress of a walk', () => {
  it('comes back as it was kept, by prop and channel', () => {
    const kept = storage();
    const progress = {
      ...fresh(),
      step: 'marks' as const,
      ends: { low: -61.2, high: 58 },
      written: ['a'],
    };
    save(kept, 'Owl', 'beak', progress);
    expect(load(kept, 'Owl', 'beak')).toEqual(progress);
    expect(load(kept, 'Owl', 'lid')).toBeUndefined();
    expect(load(kept, 'Crow', 'beak')).toBeUndefined();
    clear(kept, 'Owl', 'beak');
    expect(load(kept, 'Owl', 'beak')).toBeUndefined();
  });

  it.each([
    'not json',
    'null',
    '3',
    '{}',
    JSON.stringify({ ...fresh(), step: 'nowhere' }),
    JSON.stringify({ ...fresh(), marginDeg: 11 }),
    JSON.stringify({ ...fresh(), ends: { low: 'x' } }),
    JSON.stringify({ ...fresh(), written: [1] }),
  ])('starts again where it cannot be understood: %s', (text) => {
    const kept = storage();
    kept.setItem('sinew-walk/Owl/beak', text);
    expect(load(kept, 'Owl', 'beak')).toBeUndefined();
  });

  it('does without a storage that is forbidden', () => {
    save(forbidden, 'Owl', 'beak', fresh());
    clear(forbidden, 'Owl', 'beak');
    expect(load(forbidden, 'Owl', 'beak')).toBeUndefined();
  });
});

describe('what stands in the way of a limit', () => {
  const info = (given: Partial<ChannelInfo>): ChannelInfo => ({
    kind: 'servo',
    value: 0,
    target: 0,
    flags: [],
    groups: [],
    park: { to: 0 },
    limitsDeg: [-90, 90],
    ...given,
  });

  it('is nothing for an uncalibrated servo', () => {
    expect(conflicts(info({}), 'low', -61)).toBeUndefined();
    expect(conflicts(info({}), 'high', 58)).toBeUndefined();
    expect(conflicts(info({}), 'low', 0)).toBeUndefined();
  });

  it('is the park position, a mark, or the other limit', () => {
    expect(conflicts(info({}), 'low', 12)).toEqual({ park: 0, marks: [] });
    const marked = info({ marks: { shut: 0, open: 30 }, park: { to: 'shut' } });
    expect(conflicts(marked, 'low', 5)).toEqual({ marks: ['shut'] });
    expect(conflicts(marked, 'high', 20)).toEqual({ marks: ['open'] });
    expect(conflicts(info({ limitsDeg: [-5, 35] }), 'low', 50)).toEqual({
      otherLimit: 35,
      park: 0,
      marks: [],
    });
    expect(conflicts(info({ limitsDeg: [-5, 35] }), 'high', -5)?.otherLimit).toBe(-5);
  });
});

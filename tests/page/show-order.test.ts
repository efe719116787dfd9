import { describe, expect, it } from 'vitest';
import {
  duration,
  elapsedText,
  inOrder,
  inShow,
  moved,
  nextOf,
  orderFrom,
  stepFrom,
} from '../../src/gateway/page/show-order.ts';

const FILE = ['wake', 'blink', 'glance', 'sleep'];
const kept = (change = {}) => ({ order: [], leftOut: [], next: '', ...change });

describe('the order of a show', () => {
  it('is that of the file until somebody has chosen another', () => {
    expect(inOrder(FILE, kept())).toEqual(FILE);
    expect(inOrder(FILE, kept({ order: ['sleep', 'wake', 'glance', 'blink'] }))).toEqual([
      'sleep',
      'wake',
      'glance',
      'blink',
    ]);
  });

  it('takes what is new in the file after the cue that it follows there, and drops what is gone', () => {
    const order = ['sleep', 'gone', 'wake', 'wake'];
    expect(inOrder(FILE, kept({ order }))).toEqual(['sleep', 'wake', 'blink', 'glance']);
    expect(inOrder(FILE, kept({ order: ['glance', 'sleep'] }))).toEqual([
      'wake',
      'blink',
      'glance',
      'sleep',
    ]);
  });

  it('leaves out what is not in the show, and goes from the last to the first', () => {
    const show = inShow(FILE, kept({ leftOut: ['blink'] }));
    expect(show).toEqual(['wake', 'glance', 'sleep']);
    expect(nextOf(show, kept())).toBe('wake');
    expect(nextOf(show, kept({ next: 'glance' }))).toBe('glance');
    expect(nextOf(show, kept({ next: 'blink' }))).toBe('wake');
    expect(nextOf([], kept())).toBeUndefined();
    expect(stepFrom(show, 'wake', 1)).toBe('glance');
    expect(stepFrom(show, 'sleep', 1)).toBe('wake');
    expect(stepFrom(show, 'wake', -1)).toBe('sleep');
  });

  it('moves one cue, and no further than to an end', () => {
    expect(moved(FILE, 'blink', 0)).toEqual(['blink', 'wake', 'glance', 'sleep']);
    expect(moved(FILE, 'wake', 2)).toEqual(['blink', 'glance', 'wake', 'sleep']);
    expect(moved(FILE, 'sleep', 9)).toEqual(FILE);
    expect(moved(FILE, 'wake', -1)).toEqual(FILE);
  });

  it.each([null, '', '7', 'null', '{"order":5,"leftOut":[1,"a"]}', '{"next":{}}', '{'])(
    'survives what the browser kept: %s',
    (text) => {
      const { order, next } = orderFrom(text);
      expect(order).toEqual([]);
      expect(next).toBe('');
    },
  );
});

describe('times', () => {
  it.each([
    [0, '0 s'],
    [59.4, '59 s'],
    [59.6, '1:00'],
    [65, '1:05'],
    [3600, '60:00'],
  ])('%d s is %s', (s, text) => {
    expect(duration(s)).toBe(text);
  });

  it.each([
    [2.2, 6.5, '2 s · 5 s left'],
    [6.5, 6.5, '6 s · 0 s left'],
    [9, 6.5, '9 s · late'],
    [75, null, '1:15, until ended'],
  ])('%d s of %s', (elapsedS, durationS, text) => {
    expect(elapsedText(elapsedS, durationS)).toBe(text);
  });
});

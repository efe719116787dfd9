import { expect, test } from 'vitest';
import { placed } from '../../src/gateway/page/cells.ts';

test('what moves keeps its cell; what rests is shown until its cell is needed', () => {
  let cells = placed([], ['a', 'b'], 3);
  expect(cells).toEqual(['a', 'b']);
  // a has come to rest, c begins: there is room.
  cells = placed(cells, ['b', 'c'], 3);
  expect(cells).toEqual(['a', 'b', 'c']);
  // d takes the cell of the one that rests; b and c stay where they are.
  cells = placed(cells, ['b', 'c', 'd'], 3);
  expect(cells).toEqual(['d', 'b', 'c']);
  expect(placed(cells, ['b', 'c', 'd', 'e'], 3)).toEqual(['d', 'b', 'c']);
  expect(placed(cells, [], 3)).toEqual(['d', 'b', 'c']);
  // A narrower window.
  expect(placed(cells, ['c'], 2)).toEqual(['c', 'b']);
});

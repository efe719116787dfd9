import { h } from 'preact';
import { renderToString } from 'preact-render-to-string';
import { expect, test } from 'vitest';
import { type Paper, Protractor, RADIUS_MM } from '../../src/drawings/protractor.tsx';

const drawn = (paper: Paper) => renderToString(h(Protractor, { paper }));
const attribute = (tag: string, name: string) =>
  Number(new RegExp(` ${name}="(-?[0-9.]+)"`).exec(tag)![1]);

// ISO 216: A4 is 210 x 297 mm. ANSI/ASME Y14.1: Letter is 8.5 x 11 in, an inch is 25.4 mm.
test.each([
  ['a4', 210, 297],
  ['letter', 8.5 * 25.4, 11 * 25.4],
] as const)(
  '%s: one unit of the drawing is one millimetre, and it fits the paper',
  (paper, widthMm, heightMm) => {
    const svg = drawn(paper);
    const root = /<svg[^>]*>/.exec(svg)![0];
    const [, width, height] = /width="([0-9.]+)mm" height="([0-9.]+)mm"/.exec(root)!.map(Number);
    expect(root).toContain(`viewBox="0 0 ${width} ${height}"`);
    expect(width).toBeCloseTo(widthMm, 9);
    expect(height).toBeLessThan(heightMm);
    expect(height).toBeGreaterThan(heightMm - 10);
    // The half circle and its margins for a printer that cannot print to the edge.
    expect(2 * RADIUS_MM + 20).toBeLessThan(widthMm);
  },
);

test('the lines that check the printer are 100 mm, across and down', () => {
  const svg = drawn('a4');
  const across = /<line class="across"[^>]*>/.exec(svg)![0];
  const down = /<line class="down"[^>]*>/.exec(svg)![0];
  expect(attribute(across, 'x2') - attribute(across, 'x1')).toBe(100);
  expect(attribute(across, 'y2')).toBe(attribute(across, 'y1'));
  expect(attribute(down, 'y2') - attribute(down, 'y1')).toBe(100);
  expect(attribute(down, 'x2')).toBe(attribute(down, 'x1'));
});

test('each mark points where its degree is, to a hundredth of a degree', () => {
  const marks = [...drawn('a4').matchAll(/<line[^>]*data-deg="\d+"[^>]*>/g)].map(([tag]) => tag);
  expect(marks).toHaveLength(181);
  for (const [deg, tag] of marks.entries()) {
    expect(attribute(tag, 'data-deg')).toBe(deg);
    for (const end of ['1', '2']) {
      const [x, y] = [attribute(tag, `x${end}`), attribute(tag, `y${end}`)];
      // SVG counts y downwards.
      expect((Math.atan2(0 - y, x) * 180) / Math.PI).toBeCloseTo(deg, 1.7);
    }
    expect(Math.hypot(attribute(tag, 'x1'), attribute(tag, 'y1'))).toBeCloseTo(RADIUS_MM, 2);
  }
  // The squares of the handbook: 30 deg is half the radius high, 60 deg half the radius wide.
  expect(-attribute(marks[30]!, 'y1')).toBeCloseTo(RADIUS_MM / 2, 3);
  expect(attribute(marks[60]!, 'x1')).toBeCloseTo(RADIUS_MM / 2, 3);
});

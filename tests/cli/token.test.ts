import jsqr from 'jsqr';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { FakeDaemon, run } from './fake-daemon.ts';

let daemon: FakeDaemon;
beforeEach(async () => {
  daemon = await FakeDaemon.start();
});
afterEach(() => daemon.stop());

const LINK = 'http://192.0.2.7:7420/#invite=q0u9cTtTnOa1-_Zk3bXy7WvE';

/** What a camera would see of lines of half blocks: each letter is two modules, one above the other. */
function photograph(lines: readonly string[]) {
  const scale = 4;
  const [columns, rows] = [[...lines[0]!].length, 2 * lines.length];
  const [width, height] = [columns * scale, rows * scale];
  const pixels = new Uint8ClampedArray(4 * width * height);
  const light = (x: number, y: number) => {
    const letter = [...lines[y >> 1]!][x];
    return letter === '█' || letter === (y % 2 === 0 ? '▀' : '▄');
  };
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const value = light(Math.floor(x / scale), Math.floor(y / scale)) ? 255 : 0;
      pixels.set([value, value, value, 255], 4 * (y * width + x));
    }
  return { pixels, width, height };
}

test('prints the link, how long it works, and a caution', async () => {
  daemon.handlers['token.invite'] = () => ({
    links: [LINK, 'http://[2001:db8::7]:7420/#invite=x'],
    expiresInS: 120,
  });
  const { code, out } = await run(['token', '--for', '120'], daemon);
  expect(code).toBe(0);
  expect(daemon.called('token.invite')).toEqual([{ forS: 120 }]);
  const lines = out.split('\n');
  expect(lines[0]).toBe(LINK);
  expect(out).toContain('[2001:db8::7]');
  expect(out).toMatch(/once, within 2 min/);
});

test('the QR code is the link, as a reader of such codes sees it, with a quiet zone of four modules', async () => {
  daemon.handlers['token.invite'] = () => ({ links: [LINK], expiresInS: 300 });
  const { out } = await run(['token', '--qr'], daemon);
  const drawn = out.split('\n').filter((line) => /^[█▀▄ ]+$/.test(line));
  // The reader is an independent program; four modules: ISO/IEC 18004, 6.3.8 (from memory).
  const { pixels, width, height } = photograph(drawn);
  expect(jsqr.default(pixels, width, height)?.data).toBe(LINK);
  expect(drawn.slice(0, 2)).toEqual(Array(2).fill('█'.repeat(width / 4)));
  for (const line of drawn.slice(0, -1)) expect(line).toMatch(/^█{4}.*█{4}$/);
});

test('a machine that nobody can reach has no link', async () => {
  daemon.handlers['token.invite'] = () => ({ links: [], expiresInS: 300 });
  const { code, out } = await run(['token'], daemon);
  expect({ code, out }).toEqual({ code: 1, out: expect.stringMatching(/no address/) });
});

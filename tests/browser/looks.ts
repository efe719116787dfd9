import { mkdir, readFile, writeFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { PNG } from 'pngjs';
import { expect } from 'vitest';
import type { Operator } from './browser.ts';

/**
 * Small pictures of the page, kept beside the tests. They are compared tolerantly: scaled down until
 * letters are grey, blurred by a cell, in few levels. What they show is that a panel is missing, has
 * moved or has another colour; not how a letter is drawn.
 */

const KEPT = fileURLToPath(new URL('./looks', import.meta.url));
const DIFFERENT = join(tmpdir(), 'sinew-looks');
const isWriting = process.env.SINEW_LOOKS === 'write';

/** One font for all machines: its widths decide where lines break, and so where everything stands. */
const font = readFileBase64(
  '@fontsource-variable/public-sans/files/public-sans-latin-wght-normal.woff2',
);

/** A cell of the picture is a square of so many pixels. */
const CELL_PX = 8;
const LEVEL = 8;
/** A cell differs when a colour in it differs by more than this, of 255, once blurred. */
const CELL_TOLERANCE = 10;
/** So many cells may differ: the edge of a word here and there. */
const CELLS_TOLERATED = 4;

/** What changes by itself: shown to nobody while the picture is taken, its place kept. */
const RESTLESS = ['.trip', '.device', '.journal'];

async function readFileBase64(name: string): Promise<string> {
  return readFile(createRequire(import.meta.url).resolve(name), 'base64');
}

/** A picture of `width` by `height` cells, 3 colours each (0 to 255), row by row. */
export interface Look {
  width: number;
  height: number;
  cells: Uint8Array;
}

/** Averages squares of pixels into cells. */
export function shrink(png: PNG, size: number): Look {
  const width = Math.floor(png.width / size);
  const height = Math.floor(png.height / size);
  const cells = new Uint8Array(width * height * 3);
  for (let at = 0; at < cells.length; at++) {
    const colour = at % 3;
    const x = (Math.floor(at / 3) % width) * size;
    const y = Math.floor(at / 3 / width) * size;
    let sum = 0;
    for (let dy = 0; dy < size; dy++)
      for (let dx = 0; dx < size; dx++)
        sum += png.data[((y + dy) * png.width + x + dx) * 4 + colour]!;
    const mean = sum / size ** 2;
    cells[at] = Math.min(255, Math.round(mean / LEVEL) * LEVEL);
  }
  return { width, height, cells };
}

/** Every cell becomes the mean of itself and its neighbours. */
function blurred({ width, height, cells }: Look): Float64Array {
  const out = new Float64Array(cells.length);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++)
      for (let colour = 0; colour < 3; colour++) {
        let sum = 0;
        let count = 0;
        for (let ny = Math.max(0, y - 1); ny <= Math.min(height - 1, y + 1); ny++)
          for (let nx = Math.max(0, x - 1); nx <= Math.min(width - 1, x + 1); nx++) {
            sum += cells[(ny * width + nx) * 3 + colour]!;
            count++;
          }
        out[(y * width + x) * 3 + colour] = sum / count;
      }
  return out;
}

/** Which cells differ by more than what is tolerated; undefined where the sizes do. */
export function differences(a: Look, b: Look): number[] | undefined {
  if (a.width !== b.width || a.height !== b.height) return undefined;
  const one = blurred(a);
  const other = blurred(b);
  const found: number[] = [];
  for (let cell = 0; cell < a.width * a.height; cell++) {
    const most = Math.max(
      ...[0, 1, 2].map((colour) => Math.abs(one[cell * 3 + colour]! - other[cell * 3 + colour]!)),
    );
    if (most > CELL_TOLERANCE) found.push(cell);
  }
  return found;
}

/** Whether so many cells are no more than the grain of another machine. */
export const isAlike = (found: number[] | undefined): boolean =>
  found !== undefined && found.length <= CELLS_TOLERATED;

function toPng({ width, height, cells }: Look): Buffer {
  const png = new PNG({ width, height });
  for (let cell = 0; cell < width * height; cell++) {
    for (let colour = 0; colour < 3; colour++)
      png.data[cell * 4 + colour] = cells[cell * 3 + colour]!;
    png.data[cell * 4 + 3] = 255;
  }
  return PNG.sync.write(png, { colorType: 2, deflateLevel: 9 });
}

/** What the window shows now, as a look. */
export async function lookOf(
  { page }: Pick<Operator, 'page'>,
  restless: readonly string[] = [],
): Promise<Look> {
  const hidden = [...RESTLESS, ...restless].join();
  await page.evaluate(
    async ([base64, selector]) => {
      if (![...document.fonts].some(({ family }) => family === 'Looks')) {
        const bytes = Uint8Array.from(atob(base64!), (letter) => letter.charCodeAt(0));
        document.fonts.add(await new FontFace('Looks', bytes, { weight: '100 900' }).load());
        document.documentElement.style.fontFamily = 'Looks, sans-serif';
      }
      for (const element of document.querySelectorAll<HTMLElement>(selector!))
        element.style.visibility = 'hidden';
      // A frame for the layout, one for the picture.
      for (let frame = 0; frame < 2; frame++)
        await new Promise((resolve) => requestAnimationFrame(resolve));
    },
    [await font, hidden] as const,
  );
  const picture = PNG.sync.read(
    await page.screenshot({ scale: 'css', caret: 'hide', animations: 'disabled' }),
  );
  return shrink(picture, CELL_PX);
}

/**
 * Compares what the window shows with the small picture that is kept under this name.
 * `npm run looks` writes the pictures instead.
 * @param restless selectors of what differs from one run to the next, besides the usual
 */
export async function expectLook(
  operator: Operator,
  name: string,
  restless: readonly string[] = [],
): Promise<void> {
  const file = join(KEPT, `${name}.png`);
  if (isWriting) {
    await mkdir(KEPT, { recursive: true });
    await writeFile(file, toPng(await lookOf(operator, restless)));
    return;
  }
  const kept = await readFile(file).catch(() => undefined);
  if (!kept) expect.fail(`There is no picture ${name} yet: npm run looks, then look at it.`);
  const png = PNG.sync.read(kept);
  const wanted = shrink(png, 1);
  let now: Look;
  let found: number[] | undefined;
  for (let trial = 0; trial < 4; trial++) {
    // What was still on its way may arrive.
    if (trial > 0) await sleep(300);
    now = await lookOf(operator, restless);
    found = differences(wanted, now);
    if (isAlike(found)) return;
  }
  const path = await writeDifference(name, operator, wanted, now!, found);
  const what = found
    ? `${found.length} of ${wanted.width * wanted.height} cells differ`
    : `the size differs: ${wanted.width} by ${wanted.height} cells, now ${now!.width} by ${now!.height}`;
  expect.fail(
    `${name} does not look as kept: ${what}. Look at ${path} (kept, now, what differs) and the ` +
      'full picture beside it. If it is meant so: npm run looks.',
  );
}

/** Kept, now and the cells that differ side by side, large enough to be seen, and the full picture. */
async function writeDifference(
  name: string,
  { page }: Operator,
  wanted: Look,
  now: Look,
  found: number[] | undefined,
): Promise<string> {
  await mkdir(DIFFERENT, { recursive: true });
  const differs = new Set(found);
  const scale = 6;
  const width = Math.max(wanted.width, now.width);
  const height = Math.max(wanted.height, now.height);
  const png = new PNG({ width: width * 3 * scale, height: height * scale });
  for (let y = 0; y < png.height; y++)
    for (let x = 0; x < png.width; x++) {
      const part = Math.floor(x / scale / width);
      const look = part === 0 ? wanted : now;
      const [cx, cy] = [Math.floor(x / scale) % width, Math.floor(y / scale)];
      const cell = cy * look.width + cx;
      const at = (y * png.width + x) * 4;
      const isInside = cx < look.width && cy < look.height;
      for (let colour = 0; colour < 3; colour++) {
        const shade = isInside ? look.cells[cell * 3 + colour]! : 128;
        // Faint, and red where it differs.
        const faint = differs.has(cell) ? (colour === 0 ? 255 : 0) : 192 + shade / 4;
        png.data[at + colour] = part === 2 ? faint : shade;
      }
      png.data[at + 3] = 255;
    }
  const path = join(DIFFERENT, `${name}.png`);
  await writeFile(path, PNG.sync.write(png));
  await writeFile(join(DIFFERENT, `${name}-full.png`), await page.screenshot({ scale: 'css' }));
  return path;
}

import { HEADER_LAYOUT } from '../boards/header.ts';
import { factsOf } from '../boards/registry.ts';
import { type CoreEnd, Loom } from '../prop/loom.ts';
import type { Prop } from '../prop/schema.ts';
import { SCREEN_COLOURS, singleColours } from '../sums/wire-colours.ts';
import { boardsOf, type ConnectorView, colourText, connectorsOf, purpose } from './loom-data.ts';
import { escaped, px } from './svg.ts';

/**
 * The loom as a picture for the wall: the pins of every board, then every connector with its cavities.
 * Colours stand beside their codes, and the shape of a pad tells its use, so that it can be read in
 * black and white.
 */

const WIDTH = 1200;
const MARGIN = 24;
const ROW = 21;
const CARD_ROW = 18;
const COLUMNS = 3;
const GUTTER = 18;
const CARD = (WIDTH - 2 * MARGIN - (COLUMNS - 1) * GUTTER) / COLUMNS;
/** Width of a piece of insulation with its code beside it. */
const COLOUR = 62;

const STYLE = `
text { font: 12px system-ui, sans-serif; fill: #22201c; }
.title { font-size: 22px; font-weight: 650; }
.head { font-size: 15px; font-weight: 650; }
.name { font-weight: 600; }
.soft { font-size: 11px; fill: #5a554b; }
.code { font-size: 11px; font-weight: 600; }
.paper { fill: #ffffff; }
.card { fill: #fffdf8; stroke: #8a857a; }
.board { fill: #f4f1ea; stroke: #8a857a; }
.line { stroke: #ddd7ca; }
.bar { stroke: #22201c; stroke-width: 3; stroke-linecap: round; }
.dot { fill: #22201c; }
.pad { fill: #ffffff; stroke: #5a554b; stroke-width: 1.5; }
.used { fill: #0b6172; stroke: #0b6172; }
.reserved { stroke: #8a4b00; stroke-dasharray: 3 2; }
.power { stroke: #22201c; stroke-width: 3; }
.ground { fill: #22201c; stroke: #22201c; }
.on { font-size: 10px; font-weight: 600; text-anchor: middle; }
.light { fill: #ffffff; }
.insulation { stroke: #5a554b; stroke-width: 0.8; }
.end { text-anchor: end; }
`;

export function loomSvg(prop: Prop): string {
  const loom = new Loom(prop);
  const sheet = new Sheet();
  sheet.text(MARGIN, 40, prop.name, 'title');
  const wires = `${loom.wires.length} ${loom.wires.length === 1 ? 'wire' : 'wires'}`;
  sheet.text(
    MARGIN,
    60,
    `The loom: ${wires}, ${loom.connectors.size} connectors. Colour codes: IEC 60757.`,
    'soft',
  );
  sheet.y = 76;
  for (const name of Object.keys(prop.boards)) drawBoard(sheet, prop, loom, name);
  drawConnectors(
    sheet,
    connectorsOf(prop, loom).filter(({ board }) => board === undefined),
  );
  return sheet.document(
    `${prop.name}: the loom`,
    `The pins of ${Object.keys(prop.boards).length} boards and the cavities of ${loom.connectors.size} connectors, with every wire.`,
  );
}

/** The pins of the boards alone, for the head of a printed list. */
export function boardsSvg(prop: Prop, loom: Loom): string {
  const sheet = new Sheet();
  sheet.y = 8;
  for (const name of Object.keys(prop.boards)) drawBoard(sheet, prop, loom, name);
  return sheet.document('Pins', 'The pins of every board, and what is on them.');
}

/** Width of small or bold text (px), rather too much than too little: fonts differ. */
function widthOf(text: string, bold = false): number {
  let sum = 0;
  for (const letter of text) sum += /[A-Z@%→mwMW_]/.test(letter) ? 7.8 : 6.2;
  return bold ? sum * 1.15 : sum;
}

class Sheet {
  y = 0;
  readonly #out: string[] = [];

  text(x: number, y: number, text: string, style: string): void {
    this.#out.push(`<text class="${style}" x="${px(x)}" y="${px(y)}">${escaped(text)}</text>`);
  }

  /** Text that ends before `width` pixels do; all of it is in a tooltip where it was cut. */
  fitted(x: number, y: number, width: number, text: string, style: string): void {
    const bold = style.startsWith('name');
    if (widthOf(text, bold) <= width) {
      this.text(x, y, text, style);
      return;
    }
    let most = text.length - 1;
    while (most > 1 && widthOf(text.slice(0, most), bold) + 10 > width) most--;
    const short = `${text.slice(0, most)}…`;
    this.#out.push(
      `<text class="${style}" x="${px(x)}" y="${px(y)}">${escaped(short)}<title>${escaped(text)}</title></text>`,
    );
  }

  rect(x: number, y: number, width: number, height: number, style: string, round = 0): void {
    this.#out.push(
      `<rect class="${style}" x="${px(x)}" y="${px(y)}" width="${px(width)}" height="${px(height)}" rx="${round}"/>`,
    );
  }

  circle(x: number, y: number, r: number, style: string): void {
    this.#out.push(`<circle class="${style}" cx="${px(x)}" cy="${px(y)}" r="${r}"/>`);
  }

  line(x1: number, y1: number, x2: number, y2: number, style: string): void {
    this.#out.push(
      `<line class="${style}" x1="${px(x1)}" y1="${px(y1)}" x2="${px(x2)}" y2="${px(y2)}"/>`,
    );
  }

  /** A piece of insulation, striped where it has several colours, and the code beside it. */
  insulation(x: number, y: number, code: string): void {
    const colours = (singleColours(code) ?? []).map((single) => SCREEN_COLOURS[single]!);
    const width = 20;
    const stripes = colours.length > 1 ? 2 * colours.length : colours.length;
    for (let i = 0; i < stripes; i++) {
      const from = x + (i * width) / stripes;
      this.#out.push(
        `<rect x="${px(from)}" y="${px(y - 9)}" width="${px(width / stripes)}" height="9" fill="${colours[i % colours.length]}"/>`,
      );
    }
    this.#out.push(
      `<rect class="insulation" x="${px(x)}" y="${px(y - 9)}" width="${width}" height="9" fill="none"><title>${escaped(colourText(code))}</title></rect>`,
    );
    this.text(x + width + 4, y, code, 'code');
  }

  document(title: string, description: string): string {
    const height = Math.ceil(this.y + MARGIN);
    return [
      `<svg xmlns="http://www.w3.org/2000/svg" width="${WIDTH}" height="${height}" viewBox="0 0 ${WIDTH} ${height}" role="img" aria-labelledby="loom-title loom-desc">`,
      `<title id="loom-title">${escaped(title)}</title>`,
      `<desc id="loom-desc">${escaped(description)}</desc>`,
      `<style>${STYLE}</style>`,
      `<rect class="paper" width="${WIDTH}" height="${height}"/>`,
      ...this.#out,
      '</svg>',
    ].join('\n');
  }
}

// --- boards ---------------------------------------------------------------------------------------

interface Slot {
  /** As printed on the board, or counted on it. */
  number: number;
  /** `GPIO 18`, `3.3 V`, `output 3`. */
  name: string;
  kind: 'used' | 'free' | 'reserved' | 'power' | 'ground';
  /** What it is for, where no wire says so. */
  what: string;
  ends: readonly CoreEnd[];
}

const LEGEND: Record<Slot['kind'], string> = {
  used: 'used',
  free: 'free',
  reserved: 'kept by the board',
  power: 'power',
  ground: 'ground',
};

function slotsOf(prop: Prop, loom: Loom, name: string): Slot[] {
  const { pins } = boardsOf(prop)[name]!;
  const facts = factsOf(prop.boards[name]!);
  const connector = [...loom.boards].find(([, board]) => board === name)?.[0];
  const cavities = connector === undefined ? undefined : loom.connectors.get(connector);
  const slot = (number: number, pin: number): Slot => {
    const { use, reserved } = pins[pin]!;
    const ends = cavities?.get(String(number)) ?? [];
    const kind = use || ends.length > 0 ? 'used' : reserved ? 'reserved' : 'free';
    const clash = use && reserved ? ` (kept for ${reserved})` : '';
    const what = use ? useText(use) + clash : (reserved ?? 'free');
    return { number, name: `${facts.word} ${pin}`, kind, what, ends };
  };
  if (!facts.header) return pins.map(({ pin }) => slot(facts.cavityOf(pin) ?? pin, pin));
  return HEADER_LAYOUT.map((place, i) => {
    const number = i + 1;
    if ('gpio' in place) return slot(number, place.gpio);
    const kind = place.power === 'ground' ? 'ground' : 'power';
    const ends = cavities?.get(String(number)) ?? [];
    return { number, name: place.power, kind, what: '', ends };
  });
}

function useText(use: string): string {
  return use === 'stopInput' ? 'stop input' : use;
}

function drawBoard(sheet: Sheet, prop: Prop, loom: Loom, name: string): void {
  const { driver } = prop.boards[name]!;
  const slots = slotsOf(prop, loom, name);
  const onHeader = factsOf(prop.boards[name]!).header;
  const connector = [...loom.boards].find(([, board]) => board === name)?.[0];
  const rows = slots.length / 2;
  const top = sheet.y;
  const height = 66 + rows * ROW;
  const middle = WIDTH / 2;
  sheet.rect(MARGIN, top, WIDTH - 2 * MARGIN, height, 'card', 4);
  const title = [connector, `${name} (${driver})`].filter(Boolean).join(': ');
  sheet.text(MARGIN + 14, top + 24, title, 'head');
  const seen = onHeader
    ? 'The 40-pin header, seen from above, pin 1 at the top left.'
    : `The ${slots.length} outputs.`;
  sheet.text(MARGIN + 14, top + 41, seen, 'soft');
  drawLegend(sheet, top + 24, new Set(slots.map(({ kind }) => kind)));
  sheet.rect(middle - 32, top + 48, 64, rows * ROW + 8, 'board', 3);
  for (const [i, slot] of slots.entries()) {
    // On a header odd pins are on the left; a chip's outputs go down one side, then the other.
    const left = onHeader ? i % 2 === 0 : i < rows;
    const row = onHeader ? i >> 1 : i % rows;
    drawSlot(sheet, slot, middle, top + 52 + row * ROW + ROW / 2, left);
  }
  sheet.y = top + height + GUTTER;
}

function drawLegend(sheet: Sheet, y: number, kinds: ReadonlySet<Slot['kind']>): void {
  let x = WIDTH - MARGIN - 14;
  for (const kind of (Object.keys(LEGEND) as Slot['kind'][]).reverse()) {
    if (!kinds.has(kind)) continue;
    x -= widthOf(LEGEND[kind]) + 26;
    drawPad(sheet, kind, x + 6, y - 4, 6);
    sheet.text(x + 17, y, LEGEND[kind], 'soft');
  }
}

function drawPad(sheet: Sheet, kind: Slot['kind'], x: number, y: number, r: number): void {
  if (kind === 'used' || kind === 'free') sheet.circle(x, y, r, `pad ${kind}`);
  else sheet.rect(x - r, y - r, 2 * r, 2 * r, `pad ${kind}`);
}

function drawSlot(sheet: Sheet, slot: Slot, middle: number, y: number, left: boolean): void {
  const { number, name, kind, what, ends } = slot;
  const side = left ? -1 : 1;
  const pad = middle + side * 15;
  drawPad(sheet, kind, pad, y, 9);
  const light = kind === 'used' || kind === 'ground';
  sheet.text(pad, y + 4, String(number), light ? 'on light' : 'on');
  const base = y + 4;
  const anchor = left ? ' end' : '';
  sheet.text(middle + side * 38, base, name, `soft${anchor}`);
  const end = ends[0];
  if (!end) {
    const style = kind === 'used' ? 'name' : 'soft';
    sheet.text(middle + side * 98, base, what, style + anchor);
    return;
  }
  const more = ends.length > 1 ? ` and ${ends.length - 1} more` : '';
  sheet.insulation(left ? middle - 98 - COLOUR : middle + 98, base, end.core.colour);
  const { wire, core, other } = end;
  const whom = purpose(wire) || what;
  const role = whom ? `${whom}, ${core.role}` : core.role;
  const text = `${wire.label}  ${role} → ${other}${more}`;
  const x = middle + side * (98 + COLOUR + 6);
  if (!left) sheet.fitted(x, base, WIDTH - MARGIN - 10 - x, text, 'name');
  else sheet.fitted(x, base, x - MARGIN - 10, text, 'name end');
}

// --- connectors -----------------------------------------------------------------------------------

/** Cards in columns, each on the column that is shortest. */
function drawConnectors(sheet: Sheet, views: readonly ConnectorView[]): void {
  const columns = Array.from({ length: COLUMNS }, () => sheet.y);
  for (const view of views) {
    const at = columns.indexOf(Math.min(...columns));
    const height = drawCard(sheet, view, MARGIN + at * (CARD + GUTTER), columns[at]!);
    columns[at]! += height + GUTTER;
  }
  sheet.y = Math.max(...columns) - GUTTER;
}

function drawCard(sheet: Sheet, view: ConnectorView, left: number, top: number): number {
  const { name, about, cavities, bridged } = view;
  const rows = cavities.reduce((sum, { ends }) => sum + Math.max(1, ends.length), 0);
  const height = 34 + rows * CARD_ROW;
  sheet.rect(left, top, CARD, height, 'card', 4);
  sheet.text(left + 10, top + 20, name, 'head');
  const nameWidth = widthOf(name, true) * 1.25 + 10;
  sheet.fitted(left + 10 + nameWidth, top + 20, CARD - nameWidth - 20, about, 'soft');
  // The bars of a terminal block stand left of the cavities that they join.
  const lane = (bar: number) => left + 12 + bar * 8;
  const x = lane(bridged.length) + (bridged.length > 0 ? 4 : 0);
  const tops = new Map<string, number>();
  let y = top + 34;
  for (const { cavity, ends } of cavities) {
    tops.set(cavity, y + CARD_ROW / 2 - 2);
    sheet.line(left + 6, y - 3, left + CARD - 6, y - 3, 'line');
    const width = Math.max(20, cavity.length * 7 + 8);
    sheet.rect(x, y - 1, width, CARD_ROW - 3, 'pad', 2);
    sheet.text(x + width / 2, y + 10, cavity, 'on');
    if (ends.length === 0) sheet.text(x + 46, y + 10, 'free', 'soft');
    for (const [i, end] of ends.entries())
      drawEnd(sheet, end, x + 46, y + 10 + i * CARD_ROW, left + CARD - 8);
    y += Math.max(1, ends.length) * CARD_ROW;
  }
  for (const [bar, bridge] of bridged.entries()) {
    const ys = bridge.flatMap((cavity) => tops.get(cavity) ?? []);
    if (ys.length < 2) continue;
    sheet.line(lane(bar), Math.min(...ys), lane(bar), Math.max(...ys), 'bar');
    for (const dot of ys) sheet.circle(lane(bar), dot, 3, 'dot');
  }
  return height;
}

function drawEnd(sheet: Sheet, end: CoreEnd, x: number, y: number, right: number): void {
  const { wire, core, other } = end;
  sheet.insulation(x, y, core.colour);
  const text = `${wire.label}  ${core.role} → ${other}`;
  const room = right - x - COLOUR;
  sheet.fitted(x + COLOUR, y, room, text, 'name');
  const left = room - widthOf(text, true) - 8;
  if (left > 50) sheet.fitted(right, y, left, purpose(wire), 'soft end');
}

import { SaxesParser, type SaxesTagNS } from 'saxes';
import { Refusal } from '../../shared/errors.ts';
import { plain } from '../../shared/plain.ts';
import { utf8Text } from '../../shared/utf8.ts';
import type { SafePicture } from './safe-picture.ts';
import { damaged } from './size.ts';
import { ATTRIBUTES, DROPPED_QUIETLY, ELEMENTS, REFUSED, safeValue } from './svg-allowed.ts';
import { type Rule, rulesOf, styledBy } from './svg-style.ts';

/** SVG 2 (W3C, 2018); XML 1.0 and its namespaces by a parser that expands no entity of the file's own. */

const SVG = 'http://www.w3.org/2000/svg';
const XLINK = 'http://www.w3.org/1999/xlink';
const XML = 'http://www.w3.org/XML/1998/namespace';

const MAX_ELEMENTS = 20_000;
const MAX_DEPTH = 64;
/** Its proportion, one way or the other. */
const MAX_RATIO = 50;
/** The longer side that is reported (pixels); a drawing has no size of its own. */
const SIDE = 1000;

interface Element {
  name: string;
  attributes: Record<string, string>;
  children: (Element | string)[];
}

/**
 * Reads a drawing and writes a new one that has only known elements, attributes and values.
 * @throws Refusal `picture.damaged`, `picture.not-a-picture`, `picture.unsafe`, `picture.too-many-pixels`
 */
export function safeSvg(bytes: Uint8Array): SafePicture {
  const text = utf8Text(bytes);
  if (text === undefined) throw damaged('it is not UTF-8 text');
  const { root, rules, leftOut } = read(text.replace(/^\uFEFF/, ''));
  const box = boxOf(root.attributes);
  refuseRepeats(root);
  const inside = root.children.map((child) => written(child, rules, leftOut)).join('');
  const ratio = box[2] / box[3];
  const [width, height] =
    ratio >= 1
      ? [SIDE, Math.max(1, Math.round(SIDE / ratio))]
      : [Math.max(1, Math.round(SIDE * ratio)), SIDE];
  const own = attributesOf(root, rules, leftOut);
  const out = `<svg xmlns="${SVG}" viewBox="${box.join(' ')}" width="${width}" height="${height}"${own}>${inside}</svg>\n`;
  return { type: 'svg', bytes: Buffer.from(out), width, height, leftOut: [...leftOut] };
}

function read(text: string): { root: Element; rules: Rule[]; leftOut: Set<string> } {
  const parser = new SaxesParser({ xmlns: true });
  const open: (Element | undefined)[] = [];
  const leftOut = new Set<string>();
  let root: Element | undefined;
  let count = 0;
  let styles = '';
  let inStyle = 0;
  /** Depth at which something is left out with all that it contains; 0 where nothing is. */
  let skippedFrom = 0;
  let depth = 0;

  parser.on('error', (error) => {
    throw damaged(`line ${parser.line}: ${plain(error.message).slice(0, 100)}`);
  });
  parser.on('doctype', (doctype) => {
    if (/\[|<!/.test(doctype)) throw unsafe('it declares entities of its own');
  });
  parser.on('processinginstruction', ({ target }) => {
    if (target.toLowerCase() === 'xml-stylesheet') throw unsafe('it asks for a style sheet');
  });
  parser.on('opentag', (tag: SaxesTagNS) => {
    depth++;
    if (++count > MAX_ELEMENTS)
      throw unsafe(`it has more than ${MAX_ELEMENTS} parts, too many for a phone to draw`);
    if (depth > MAX_DEPTH) throw unsafe(`its parts lie in one another more than ${MAX_DEPTH} deep`);
    const ours = tag.uri === SVG;
    if (!root && !(ours && tag.local === 'svg'))
      throw new Refusal(
        'picture.not-a-picture',
        'this is text, but not a drawing in SVG; save it as PNG, JPEG or plain SVG',
      );
    refuseActive(tag);
    if (skippedFrom > 0) return;
    if (ours && tag.local === 'style') inStyle = depth;
    if (!ours || !Object.hasOwn(ELEMENTS, tag.local)) {
      skippedFrom = depth;
      if (ours && !DROPPED_QUIETLY.has(tag.local)) leftOut.add(`<${tag.local}>`);
      return;
    }
    const element: Element = {
      // What links or chooses is a group like any other.
      name: ELEMENTS[tag.local]!,
      attributes: plainAttributes(tag),
      children: [],
    };
    const above = open.at(-1);
    if (root) above!.children.push(element);
    else root = element;
    open.push(element);
  });
  parser.on('closetag', () => {
    if (skippedFrom === 0) open.pop();
    if (skippedFrom === depth) skippedFrom = 0;
    if (inStyle === depth) inStyle = 0;
    depth--;
  });
  const take = (content: string) => {
    if (inStyle > 0) styles += content;
    else if (skippedFrom === 0) open.at(-1)?.children.push(content);
  };
  parser.on('text', take);
  parser.on('cdata', take);
  parser.write(text).close();
  if (!root) throw damaged('it is empty');
  return { root, rules: rulesOf(styles, refuseReference, leftOut), leftOut };
}

/** Attributes by their local names; `href` wherever it comes from. */
function plainAttributes(tag: SaxesTagNS): Record<string, string> {
  const found: Record<string, string> = {};
  for (const { uri, local, value } of Object.values(tag.attributes)) {
    if (uri === '' || (uri === XLINK && local === 'href')) found[local] ??= value;
    else if (uri === XML && local === 'space') found['xml:space'] = value;
  }
  return found;
}

/** What acts, or asks for something elsewhere, is refused rather than left out: the maker should know. */
function refuseActive(tag: SaxesTagNS): void {
  const why = REFUSED[tag.local.toLowerCase()];
  if (why !== undefined) throw unsafe(why);
  for (const { local, uri, value } of Object.values(tag.attributes)) {
    const name = local.toLowerCase();
    if (name.startsWith('on')) throw unsafe(`it has an event handler (${plain(name)})`);
    if (name === 'href' || name === 'src') {
      // A link leads away only when it is pressed, and is left out.
      if (tag.local === 'a' && !/^\s*javascript:/i.test(value)) continue;
      if (!/^\s*#/.test(value)) throw unsafe('it asks for something outside of itself');
    }
    // Notes of drawing programs are left out.
    if (name !== 'd' && uri === '') refuseReference(value);
  }
}

/** `url()` of anything but a part of the same drawing. */
function refuseReference(value: string): void {
  // An escape of CSS can spell url.
  const backslash = value.indexOf('\\');
  if (backslash >= 0 && value.includes('(', backslash)) throw unsafe('it hides what it asks for');
  for (const [, target] of value.matchAll(/url\(\s*["']?\s*([^)]{0,200})/gi))
    if (!target!.startsWith('#')) throw unsafe('it asks for something outside of itself');
  if (/@import/i.test(value)) throw unsafe('it asks for a style sheet');
}

function unsafe(why: string): Refusal {
  return new Refusal(
    'picture.unsafe',
    `the drawing is not taken: ${why}. Save it as plain SVG, without scripts, links and pictures within, or as PNG`,
  );
}

/** Shapes that are shown again and again within each other would be drawn without end. */
function refuseRepeats(root: Element): void {
  const byId = new Map<string, Element>();
  const collect = (element: Element): void => {
    const { id } = element.attributes;
    if (id !== undefined && !byId.has(id)) byId.set(id, element);
    for (const child of element.children) if (typeof child !== 'string') collect(child);
  };
  collect(root);
  const sizes = new Map<Element, number>();
  const under = new Set<Element>();
  const sizeOf = (element: Element): number => {
    const known = sizes.get(element);
    if (known !== undefined) return known;
    if (under.has(element)) throw unsafe('a part of it contains itself');
    under.add(element);
    let size = 1;
    for (const child of element.children) if (typeof child !== 'string') size += sizeOf(child);
    for (const target of targetsOf(element)) {
      const shown = byId.get(target);
      if (shown) size += sizeOf(shown);
      if (size > MAX_ELEMENTS)
        throw unsafe(`it shows more than ${MAX_ELEMENTS} parts, too many for a phone to draw`);
    }
    under.delete(element);
    sizes.set(element, size);
    return size;
  };
  sizeOf(root);
}

/** What an element brings in from elsewhere in the drawing. */
function targetsOf({ attributes }: Element): string[] {
  const targets: string[] = [];
  for (const [name, value] of Object.entries(attributes)) {
    if (name === 'href') targets.push(value.trim().slice(1));
    for (const [, id] of value.matchAll(/url\(\s*["']?#([^"')\s]+)/gi)) targets.push(id!);
  }
  return targets;
}

function written(child: Element | string, rules: readonly Rule[], leftOut: Set<string>): string {
  if (typeof child === 'string') return escaped(child);
  const inside = child.children.map((one) => written(one, rules, leftOut)).join('');
  const { name } = child;
  return `<${name}${attributesOf(child, rules, leftOut)}>${inside}</${name}>`;
}

function attributesOf(element: Element, rules: readonly Rule[], leftOut: Set<string>): string {
  const { name, attributes } = element;
  const allowed = ATTRIBUTES[name]!;
  const all = { ...attributes, ...styledBy(element, rules) };
  let text = '';
  for (const [key, value] of Object.entries(all)) {
    if (!allowed.has(key)) continue;
    const safe = safeValue(key, value);
    if (safe === undefined) leftOut.add(`${key} of <${name}>`);
    else text += ` ${key}="${escaped(safe)}"`;
  }
  return text;
}

function escaped(text: string): string {
  return text
    .replaceAll('&', '&amp;')
    .replaceAll('<', '&lt;')
    .replaceAll('>', '&gt;')
    .replaceAll('"', '&quot;');
}

/** How many px a unit is (CSS Values 4, 6.2). */
const UNITS: Record<string, number> = {
  '': 1,
  px: 1,
  pt: 96 / 72,
  pc: 16,
  mm: 96 / 25.4,
  cm: 96 / 2.54,
  in: 96,
};

function boxOf(attributes: Record<string, string>): [number, number, number, number] {
  const { viewBox, width, height } = attributes;
  const given = viewBox
    ?.trim()
    .split(/[\s,]+/)
    .map(Number);
  const box = given ?? [0, 0, lengthOf(width), lengthOf(height)];
  const [, , w = Number.NaN, h = Number.NaN] = box;
  const ratio = w / h;
  const sound =
    box.length === 4 && box.every((one) => Number.isFinite(one) && Math.abs(one) <= 1e6);
  if (!sound || !(w > 0 && h > 0 && ratio <= MAX_RATIO && ratio >= 1 / MAX_RATIO))
    throw damaged('it does not say how large it is (viewBox)');
  return box as [number, number, number, number];
}

function lengthOf(text = ''): number {
  const [, number, unit = ''] = /^([0-9.]+)\s*([a-z]*)$/.exec(text.trim()) ?? [];
  return Number(number) * (UNITS[unit] ?? Number.NaN);
}

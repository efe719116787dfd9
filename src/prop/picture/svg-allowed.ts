/** What a drawing may contain: all else is left out or refused. */

/** Elements that are kept, by the name under which they are written. */
export const ELEMENTS: Record<string, string> = {
  svg: 'svg',
  g: 'g',
  a: 'g',
  switch: 'g',
  defs: 'defs',
  symbol: 'symbol',
  use: 'use',
  path: 'path',
  rect: 'rect',
  circle: 'circle',
  ellipse: 'ellipse',
  line: 'line',
  polyline: 'polyline',
  polygon: 'polygon',
  text: 'text',
  tspan: 'tspan',
  linearGradient: 'linearGradient',
  radialGradient: 'radialGradient',
  stop: 'stop',
  clipPath: 'clipPath',
  title: 'title',
  desc: 'desc',
};

/** Why a drawing with such an element is not taken (names in lower case). */
export const REFUSED: Record<string, string> = {
  script: 'it has a script',
  handler: 'it has a script',
  listener: 'it has a script',
  foreignobject: 'it has a part of a web page',
  iframe: 'it has a part of a web page',
  object: 'it has a part of a web page',
  embed: 'it has a part of a web page',
  audio: 'it has sound',
  video: 'it has a film',
  canvas: 'it has a part of a web page',
  image: 'it has a picture within',
  feimage: 'it has a picture within',
};

/** Left out without a word: they are not seen, or are read elsewhere. */
export const DROPPED_QUIETLY = new Set(['metadata', 'style']);

/** How things look (SVG 2, 6.6: presentation attributes). */
export const PRESENTATION = [
  'fill',
  'fill-opacity',
  'fill-rule',
  'stroke',
  'stroke-width',
  'stroke-opacity',
  'stroke-linecap',
  'stroke-linejoin',
  'stroke-miterlimit',
  'opacity',
  'color',
  'display',
  'visibility',
  'clip-path',
  'clip-rule',
  'stop-color',
  'stop-opacity',
  'font-family',
  'font-size',
  'font-weight',
  'font-style',
  'text-anchor',
  'letter-spacing',
  'dominant-baseline',
  'vector-effect',
  'paint-order',
];

const COMMON = ['id', 'transform', ...PRESENTATION];
const BOX = ['x', 'y', 'width', 'height'];
const GRADIENT = ['gradientUnits', 'gradientTransform', 'spreadMethod', 'href'];
const TEXT = ['x', 'y', 'dx', 'dy', 'xml:space', 'textLength', 'lengthAdjust'];

const OWN: Record<string, readonly string[]> = {
  svg: ['preserveAspectRatio'],
  use: [...BOX, 'href'],
  symbol: ['viewBox', 'preserveAspectRatio'],
  path: ['d'],
  rect: [...BOX, 'rx', 'ry'],
  circle: ['cx', 'cy', 'r'],
  ellipse: ['cx', 'cy', 'rx', 'ry'],
  line: ['x1', 'y1', 'x2', 'y2'],
  polyline: ['points'],
  polygon: ['points'],
  text: TEXT,
  tspan: TEXT,
  linearGradient: ['x1', 'y1', 'x2', 'y2', ...GRADIENT],
  radialGradient: ['cx', 'cy', 'r', 'fx', 'fy', 'fr', ...GRADIENT],
  stop: ['offset'],
  clipPath: ['clipPathUnits'],
};

/** The attributes that each element keeps. */
export const ATTRIBUTES: Record<string, ReadonlySet<string>> = Object.fromEntries(
  Object.values(ELEMENTS).map((name) => [name, new Set([...COMMON, ...(OWN[name] ?? [])])]),
);

/** Functions of colours and transforms (CSS Color 4, CSS Transforms 1). */
const FUNCTIONS = new Set(
  'rgb rgba hsl hsla hwb lab lch oklab oklch color matrix translate scale rotate skewx skewy'.split(
    ' ',
  ),
);

const ID = /^[\p{L}_][\p{L}\p{N}_.:-]{0,199}$/u;
const LOCAL = /^url\(\s*["']?#([^"')\s]+)["']?\s*\)/;

/** A value as it may be written; undefined where it is left out. */
export function safeValue(name: string, value: string): string | undefined {
  const text = value.trim();
  if (name === 'd' || name === 'points')
    return /^[\sMmZzLlHhVvCcSsQqTtAaEe0-9.,+-]*$/.test(text) ? text : undefined;
  if (name === 'id') return ID.test(text) ? text : undefined;
  if (name === 'href') return text.startsWith('#') && ID.test(text.slice(1)) ? text : undefined;
  // No escapes, blocks or further declarations of CSS.
  if (text.length > 1000 || /[\\{};@<>]/.test(text)) return undefined;
  const [url, id] = LOCAL.exec(text) ?? [];
  if (id !== undefined && !ID.test(id)) return undefined;
  const rest = text.slice(url?.length ?? 0);
  for (const [, called] of rest.matchAll(/([\w-]*)\s*\(/g))
    if (!FUNCTIONS.has(called!.toLowerCase())) return undefined;
  return url === undefined ? text : `url(#${id})${rest}`;
}

import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join, posix } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';

/** The layers of DEVELOPERS.md's table: each folder imports what its row names, and what that may import. */

const ROOT = fileURLToPath(new URL('..', import.meta.url));

interface Layer {
  values: Set<string>;
  types: Set<string>;
}

/** The rows of the table: `| \`src/x\` | what | a, b, c (types) |`. */
function readLayers(): Map<string, Layer> {
  const text = readFileSync(join(ROOT, 'DEVELOPERS.md'), 'utf8');
  const layers = new Map<string, Layer>();
  for (const line of text.split('\n')) {
    const cells = line.split('|').map((cell) => cell.trim());
    if (cells.length !== 5 || !cells[1]!.startsWith('`src/')) continue;
    const layer: Layer = { values: new Set(), types: new Set() };
    for (const word of cells[3]!.split(',').map((one) => one.trim())) {
      if (word === '–') continue;
      const [, name, types] = /^`?([\w/]+)`?( \(types\))?$/.exec(word) ?? [];
      if (name === undefined) throw new Error(`"${word}" in the row of ${cells[1]}`);
      (types ? layer.types : layer.values).add(`src/${name}`);
    }
    for (const [, folder] of cells[1]!.matchAll(/`([^`]+)`/g)) layers.set(folder!, layer);
  }
  return layers;
}

interface Import {
  from: string;
  to: string;
  typeOnly: boolean;
}

const sources = readdirSync(join(ROOT, 'src'), { recursive: true, encoding: 'utf8' })
  .map((file) => posix.join('src', file))
  .filter((file) => /\.tsx?$/.test(file) && !file.endsWith('.d.ts'));

const imports: Import[] = sources.flatMap((from) => {
  const text = readFileSync(join(ROOT, from), 'utf8');
  const found: Import[] = [];
  const add = (path: string, typeOnly: boolean) => {
    // Data, such as the library of parts, imports nothing.
    if (!path.endsWith('.json'))
      found.push({ from, to: posix.join(dirname(from), path), typeOnly });
  };
  for (const [, type, names, path] of text.matchAll(
    /^(?:import|export)\s+(type\s+)?([^'"]*?)\s*from\s+'(\.[^']+)';/gm,
  )) {
    const braces = /^\{(.*)\}$/s.exec(names!);
    const each = braces && braces[1]!.split(',').filter((one) => one.trim() !== '');
    add(path!, type !== undefined || each?.every((one) => /^\s*type\s/.test(one)) === true);
  }
  for (const [, typeOnly, path] of text.matchAll(/(?<!await )(typeof )?import\('(\.[^']+)'\)/g))
    add(path!, typeOnly !== undefined);
  for (const [, path] of text.matchAll(/await import\('(\.[^']+)'\)/g)) add(path!, false);
  return found;
});

/** The folder of the table that a file is in; undefined for the entry points beside the folders. */
function layerOf(file: string, layers: Iterable<string>): string | undefined {
  let best: string | undefined;
  for (const folder of layers)
    if (file.startsWith(`${folder}/`) && folder.length > (best?.length ?? 0)) best = folder;
  return best;
}

/** Everything below a folder, through others as well. */
function below(folder: string, layers: ReadonlyMap<string, Layer>, types: boolean): Set<string> {
  const all = new Set<string>();
  const visit = (name: string) => {
    const layer = layers.get(name);
    if (!layer) throw new Error(`${name} has no row in DEVELOPERS.md`);
    for (const next of types ? [...layer.values, ...layer.types] : layer.values) {
      if (all.has(next)) continue;
      all.add(next);
      visit(next);
    }
  };
  visit(folder);
  return all;
}

it('every folder of src has its row', () => {
  const layers = readLayers();
  expect(imports.length).toBeGreaterThan(500);
  const without = sources.filter(
    (file) => file.split('/').length > 2 && layerOf(file, layers.keys()) === undefined,
  );
  expect(without).toEqual([]);
});

it('no folder imports from one that is not below it', () => {
  const layers = readLayers();
  const wrong = imports.filter(({ from, to, typeOnly }) => {
    const own = layerOf(from, layers.keys());
    const other = layerOf(to, layers.keys());
    // The entry points import what they like, and nobody imports them.
    if (own === undefined) return false;
    return own !== other && (other === undefined || !below(own, layers, typeOnly).has(other));
  });
  expect(
    wrong.map(({ from, to, typeOnly }) => `${from} -> ${to}${typeOnly ? ' (type)' : ''}`),
  ).toEqual([]);
});

it('no folder is above itself', () => {
  const layers = readLayers();
  for (const folder of layers.keys()) expect(below(folder, layers, true)).not.toContain(folder);
});

it('no files import each other in a circle, types included', () => {
  const next = new Map<string, string[]>();
  for (const { from, to } of imports) next.set(from, [...(next.get(from) ?? []), to]);
  const circles: string[][] = [];
  const done = new Set<string>();
  const visit = (file: string, path: readonly string[]) => {
    const at = path.indexOf(file);
    if (at >= 0) circles.push([...path.slice(at), file]);
    if (at >= 0 || done.has(file)) return;
    for (const to of next.get(file) ?? []) visit(to, [...path, file]);
    done.add(file);
  };
  for (const file of sources) visit(file, []);
  expect(circles).toEqual([]);
});
